import { mkdir, open, readdir, readFile, rename, rm, rmdir, stat } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import { OutputError, PleniluneError, ResourceError, UsageError } from '../job/errors.js';
import { partialBeside } from '../job/partial.js';
import { explainUnwritable } from '../job/resources.js';
import { makeFolder } from '../job/work-folder.js';

/** Name of the file with the hashes of all others. */
export const SUMS_FILE = 'SHA256SUMS';

/**
 * Makes a folder appear whole or not at all: `write` fills a temporary one beside it, which then gets its name. When anything
 * fails, the temporary folder is removed and what was there before stays. A folder that is there is replaced only with
 * `force`, and only when it is a pack, with no file that {@link SUMS_FILE} does not list; an empty one is taken.
 *
 * @throws OutputError OUTPUT_EXISTS, OUTPUT_UNWRITABLE; ResourceError OUT_OF_SPACE; UsageError when a file is in the way
 */
export async function writePackFolder(
  path: string,
  write: (temporary: string) => Promise<void>,
  force: boolean,
): Promise<void> {
  const before = await standing(path);
  await refuseForeign(path, before, force);
  await makeFolder(dirname(path));
  const temporary = await partialBeside(path);
  try {
    await mkdir(temporary);
    await write(temporary);
    for (const name of await readdir(temporary)) await sync(join(temporary, name));
    await sync(temporary);
    await replace(temporary, path, before);
    await sync(dirname(path));
  } catch (error) {
    throw explain(error, path);
  } finally {
    await rm(temporary, { recursive: true, force: true });
  }
}

/** What stands where the pack is to go: names of files, or undefined. */
async function standing(path: string): Promise<readonly string[] | undefined> {
  const found = await stat(path).catch(() => undefined);
  if (found === undefined) return undefined;
  if (!found.isDirectory()) throw new UsageError(`${path} is a file; name a folder for the pack`);
  return readdir(path);
}

async function refuseForeign(path: string, names: readonly string[] | undefined, force: boolean): Promise<void> {
  if (names === undefined || names.length === 0) return;
  const sums = await readFile(join(path, SUMS_FILE), 'utf8').catch(() => '');
  const own = new Set([SUMS_FILE, ...sums.split('\n').map((line) => line.slice(66))]);
  const foreign = names.find((name) => !own.has(name));
  if (foreign !== undefined) {
    throw new OutputError(
      'OUTPUT_EXISTS',
      `${path} holds ${foreign}, which is of no pack; nothing there is replaced. Choose another folder.`,
    );
  }
  if (!force)
    throw new OutputError(
      'OUTPUT_EXISTS',
      `${path} holds a pack. Allow replacing it (--force), or choose another name.`,
    );
}

/** Gives the new folder its name; the one that had it goes only once that is done. */
async function replace(temporary: string, path: string, before: readonly string[] | undefined): Promise<void> {
  if (before === undefined) return rename(temporary, path);
  if (before.length === 0) {
    await rmdir(path);
    return rename(temporary, path);
  }
  const old = `${temporary}-old`;
  await rename(path, old);
  try {
    await rename(temporary, path);
  } catch (error) {
    await rename(old, path);
    throw error;
  }
  await rm(old, { recursive: true, force: true });
}

/** So that names and contents outlive a power cut. Not every system lets a folder be opened or synced. */
async function sync(path: string): Promise<void> {
  const handle = await open(path, 'r').catch(() => undefined);
  await handle?.sync().catch(() => undefined);
  await handle?.close();
}

function explain(error: unknown, path: string): unknown {
  if (error instanceof PleniluneError) return error;
  if (
    error instanceof Error &&
    /\b(ENOSPC|EDQUOT)\b|no space left/i.test(`${'code' in error ? error.code : ''} ${error.message}`)
  ) {
    return new ResourceError('OUT_OF_SPACE', `No space is left to write ${path}. Free some, or choose another disk.`, {
      cause: error,
    });
  }
  return explainUnwritable(error, path);
}
