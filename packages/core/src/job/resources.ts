import { readdir, stat, statfs } from 'node:fs/promises';
import { join } from 'node:path';
import { OutputError, PleniluneError, ResourceError } from './errors.js';

/**
 * Fails early when the disk that holds a folder has less room than a stage says it needs.
 *
 * @throws ResourceError OUT_OF_SPACE
 */
export async function checkSpace(folder: string, needBytes: number, what: string): Promise<void> {
  const { bavail, bsize } = await statfs(folder);
  if (bavail * bsize < needBytes) {
    throw outOfSpace(what, folder, `it needs ${inMiB(needBytes)}, and ${inMiB(bavail * bsize)} is free`);
  }
}

/** A {@link ResourceError} for "memory could not be had", which V8 reports as a plain RangeError; undefined for others. */
export function explainNoMemory(error: unknown): ResourceError | undefined {
  if (!(error instanceof RangeError) || !/allocation failed/i.test(error.message)) return undefined;
  return new ResourceError('OUT_OF_MEMORY', `memory ran out: ${error.message}; use fewer workers`, { cause: error });
}

/** Turns "no space left" into a {@link ResourceError} that names the folder and the need; others pass unchanged. */
export async function explainNoSpace(
  error: unknown,
  folder: string,
  needBytes: number | undefined,
  what: string,
): Promise<unknown> {
  if (!(error instanceof Error) || error instanceof PleniluneError) return error;
  if (!/\b(ENOSPC|EDQUOT)\b|no space left/i.test(error.message)) return error;
  const need = needBytes === undefined ? '' : ` of about ${inMiB(needBytes)} needed`;
  return outOfSpace(what, folder, `${inMiB(await folderBytes(folder))}${need} had been written`, error);
}

/** What a system says when it will not let a file or folder be made, in plain words. */
const REFUSALS: Readonly<Record<string, string>> = {
  EACCES: 'writing there is not allowed',
  EPERM: 'writing there is not allowed',
  EROFS: 'the disk can only be read',
  ENOENT: 'no such folder can be made there',
  ENOTDIR: 'a part of its path is no folder',
  ENAMETOOLONG: 'the name is too long',
  ELOOP: 'its path goes in circles',
  EFBIG: 'the file would be larger than the disk or the limits of this process allow',
  EMFILE: 'this process has too many files open',
  EIO: 'the disk reports a fault',
};

/** Turns a system's refusal to make or write something into an {@link OutputError}; others pass unchanged. */
export function explainUnwritable(error: unknown, path: string): unknown {
  if (!(error instanceof Error) || error instanceof PleniluneError) return error;
  const code = 'code' in error ? String(error.code) : '';
  const words = REFUSALS[code];
  if (words === undefined) return error;
  const message = `${path} cannot be written: ${words} (${code}). Choose another place, or make this one writable.`;
  return new OutputError('OUTPUT_UNWRITABLE', message, { cause: error });
}

function outOfSpace(what: string, folder: string, figures: string, cause?: Error): ResourceError {
  const message = `no space left for ${what} in ${folder}: ${figures}. Free some space or choose another folder`;
  return new ResourceError('OUT_OF_SPACE', message, cause ? { cause } : undefined);
}

/** Size of the files in a folder and those below it. */
export async function folderBytes(folder: string): Promise<number> {
  const entries = await readdir(folder, { recursive: true, withFileTypes: true }).catch(() => []);
  const files = entries.filter((entry) => entry.isFile());
  const sizes = await Promise.all(files.map(async (f) => (await stat(join(f.parentPath ?? f.path, f.name))).size));
  return sizes.reduce((sum, size) => sum + size, 0);
}

function inMiB(bytes: number): string {
  return `${Math.ceil(bytes / 2 ** 20)} MiB`;
}
