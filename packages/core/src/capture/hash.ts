import { createHash } from 'node:crypto';
import { createReadStream } from 'node:fs';
import { stat } from 'node:fs/promises';
import { InterruptedError } from '../job/errors.js';

/**
 * SHA-256 of a file's bytes as 64 lower-case hex digits, read as a stream; `onRead` is told how many bytes each block had.
 * Throws {@link InterruptedError} on abort.
 */
export async function sha256File(
  path: string,
  signal?: AbortSignal,
  onRead: (bytes: number) => void = () => {},
): Promise<string> {
  const hash = createHash('sha256');
  try {
    for await (const block of createReadStream(path, { highWaterMark: 1 << 20, signal })) {
      hash.update(block);
      onRead(block.length);
    }
  } catch (error) {
    if (signal?.aborted) throw new InterruptedError();
    throw error;
  }
  return hash.digest('hex');
}

/** {@link sha256File} of what is at a path; null where that is no file. */
export async function hashIfFile(path: string, signal?: AbortSignal): Promise<string | null> {
  return (await isFile(path)) ? sha256File(path, signal) : null;
}

/** Whether a file is at a path. */
export async function isFile(path: string): Promise<boolean> {
  return stat(path).then(
    (found) => found.isFile(),
    () => false,
  );
}
