import { createHash } from 'node:crypto';
import { createReadStream } from 'node:fs';
import { InterruptedError } from '../job/errors.js';

/** SHA-256 of a file's bytes as 64 lower-case hex digits, read as a stream. Throws {@link InterruptedError} on abort. */
export async function sha256File(path: string, signal?: AbortSignal): Promise<string> {
  const hash = createHash('sha256');
  try {
    for await (const block of createReadStream(path, { highWaterMark: 1 << 20, signal })) hash.update(block);
  } catch (error) {
    if (signal?.aborted) throw new InterruptedError();
    throw error;
  }
  return hash.digest('hex');
}
