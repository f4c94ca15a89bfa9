import { readSync } from 'node:fs';

/** Fills `bytes` from an open file. Throws a plain `Error` when it ends before. */
export function readInto(file: number, position: number, bytes: Uint8Array): void {
  for (let done = 0; done < bytes.length; ) {
    const got = readSync(file, bytes, done, bytes.length - done, position + done);
    if (got === 0) throw new Error(`it ends ${bytes.length - done} bytes short of what is read of it`);
    done += got;
  }
}
