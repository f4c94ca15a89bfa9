import { link, mkdir, open, rename, rm, stat } from 'node:fs/promises';
import { dirname } from 'node:path';
import { OutputError, PleniluneError, ResourceError, UsageError } from '../job/errors.js';
import { partialBeside } from '../job/partial.js';
import { explainUnwritable } from '../job/resources.js';
import { noteMade } from './all-or-none.js';

export interface WriteWholeOptions {
  /** Replace an existing file. Default false. */
  readonly force?: boolean;
}

/** Errors of a file system that cannot make a second name for a file. */
const NO_LINKS: ReadonlySet<string> = new Set([
  'EPERM',
  'ENOTSUP',
  'EOPNOTSUPP',
  'ENOSYS',
  'EMLINK',
  'EACCES',
  'EXDEV',
]);

/**
 * Makes a file appear whole or not at all: `write` fills a temporary name in the same folder, which is synced to disk
 * and then given its own name. When anything fails, the temporary file is removed and what was there before stays; what a
 * killed run has left is removed by the next one.
 * Throws {@link OutputError} `OUTPUT_EXISTS` when the file exists and `force` is not set, {@link UsageError} when its
 * folder is missing, `OUTPUT_UNWRITABLE` when the system refuses, {@link ResourceError} `OUT_OF_SPACE` when the disk is full, and whatever `write` throws.
 */
export async function writeWhole(
  path: string,
  write: (temporaryPath: string) => Promise<void>,
  options: WriteWholeOptions = {},
): Promise<void> {
  const { force = false } = options;
  await requireFree(path, force);
  const temporary = await partialBeside(path);
  try {
    await write(temporary);
    await syncFile(temporary);
    if (force) await rename(temporary, path);
    else await nameOnce(temporary, path);
    if (!force) noteMade(path);
    await syncFolder(dirname(path));
  } catch (error) {
    throw translate(error, path);
  } finally {
    await rm(temporary, { force: true });
  }
}

/**
 * The same for a folder: `write` fills one under a temporary name, which then takes its own. With `force`, a folder that
 * was there is taken away only after that. Throws what {@link writeWhole} throws.
 */
export async function writeFolderWhole(
  path: string,
  write: (temporaryPath: string) => Promise<void>,
  options: WriteWholeOptions = {},
): Promise<void> {
  const { force = false } = options;
  const temporary = await partialBeside(path);
  const old = `${temporary}-old`;
  try {
    await requireFolder(path);
    const present = await stat(path).catch(() => undefined);
    if (present !== undefined && !(force && present.isDirectory())) throw exists(path);
    await mkdir(temporary);
    await write(temporary);
    if (present !== undefined) await rename(path, old);
    await rename(temporary, path);
    if (!force) noteMade(path);
    await syncFolder(dirname(path));
  } catch (error) {
    throw translate(error, path);
  } finally {
    await rm(temporary, { recursive: true, force: true });
    await rm(old, { recursive: true, force: true });
  }
}

async function requireFolder(path: string): Promise<void> {
  const folder = await stat(dirname(path)).catch(() => undefined);
  if (!folder?.isDirectory())
    throw new UsageError(`${path} cannot be written: its folder does not exist. Make it first.`);
}

async function requireFree(path: string, force: boolean): Promise<void> {
  await requireFolder(path);
  const present = await stat(path).catch(() => undefined);
  if (present?.isDirectory()) throw new OutputError('OUTPUT_EXISTS', `${path} is a folder. Choose another name.`);
  if (present !== undefined && !force) throw exists(path);
}

/** Fails when the name was taken in the meantime, where the file system can tell. */
async function nameOnce(temporary: string, path: string): Promise<void> {
  try {
    await link(temporary, path);
  } catch (error) {
    if (!NO_LINKS.has(codeOf(error))) throw error;
    await rename(temporary, path);
  }
}

async function syncFile(path: string): Promise<void> {
  const handle = await open(path, 'r+');
  try {
    await handle.sync();
  } finally {
    await handle.close();
  }
}

/** So that the new name outlives a power cut too. Not every system lets a folder be opened or synced. */
async function syncFolder(path: string): Promise<void> {
  const handle = await open(path, 'r').catch(() => undefined);
  await handle?.sync().catch(() => undefined);
  await handle?.close();
}

function translate(error: unknown, path: string): unknown {
  if (error instanceof PleniluneError) return error;
  const code = codeOf(error);
  if (code === 'EEXIST') return exists(path);
  if (code === 'ENOSPC' || code === 'EDQUOT') {
    return new ResourceError('OUT_OF_SPACE', `No space is left to write ${path}. Free some, or choose another disk.`, {
      cause: error,
    });
  }
  return explainUnwritable(error, path);
}

function exists(path: string): OutputError {
  return new OutputError('OUTPUT_EXISTS', `${path} exists. Replace it with --force, or choose another name.`);
}

function codeOf(error: unknown): string {
  return error instanceof Error && 'code' in error ? String(error.code) : '';
}
