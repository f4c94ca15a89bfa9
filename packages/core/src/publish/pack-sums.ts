import { readFile, stat } from 'node:fs/promises';
import { join } from 'node:path';
import { isFile } from '../capture/hash.js';
import { InputError } from '../job/errors.js';
import type { HashedFile } from '../plate/hashed-file.js';
import { LISTING_FILE } from './listing.js';
import { SUMS_FILE } from './pack-folder.js';

/** More than the hashes of any pack take. */
const MOST_SUMS_BYTES = 1_000_000;
/** A line that sha256sum writes, of text or binary; names that it would have to escape are in no pack. */
const LINE = /^([0-9a-f]{64}) [ *]([^/\\\0]+)$/i;

/**
 * The files of a pack with their hashes, as its {@link SUMS_FILE} has them. Each lies in the pack's own folder.
 *
 * @throws InputError PACK_UNREADABLE when there is no such file, or it holds anything else
 */
export async function readPackSums(folder: string): Promise<HashedFile[]> {
  const path = join(folder, SUMS_FILE);
  const lines = (await readText(path)).split(/\r?\n/).filter((line) => line !== '');
  if (lines.length === 0) throw unreadable(path, 'it names no file');
  return lines.map((line) => {
    const [, sha256, file] = LINE.exec(line) ?? [];
    if (sha256 === undefined || file === undefined || file === '.' || file === '..')
      throw unreadable(path, `${JSON.stringify(line.slice(0, 100))} is not a hash and the name of a file beside it`);
    return { file, sha256: sha256.toLowerCase() };
  });
}

/** Whether a folder is a pack: it has {@link SUMS_FILE}, and a listing, or one that it names. */
export async function isPack(folder: string): Promise<boolean> {
  const sums = await readText(join(folder, SUMS_FILE)).catch(() => undefined);
  if (sums === undefined) return false;
  const isNamed = sums.split(/\r?\n/).some((line) => LINE.exec(line)?.[2] === LISTING_FILE);
  return isNamed || isFile(join(folder, LISTING_FILE));
}

async function readText(path: string): Promise<string> {
  try {
    const found = await stat(path);
    if (!found.isFile()) throw new Error('it is no file');
    if (found.size > MOST_SUMS_BYTES) throw new Error(`it holds more than ${MOST_SUMS_BYTES} bytes`);
    return await readFile(path, 'utf8');
  } catch (cause) {
    throw unreadable(path, cause instanceof Error ? cause.message : String(cause), cause);
  }
}

function unreadable(path: string, reason: string, cause?: unknown): InputError {
  return new InputError(
    'PACK_UNREADABLE',
    `${path} cannot be read (${reason}). Give a pack as it was published, or publish it again.`,
    { cause },
  );
}
