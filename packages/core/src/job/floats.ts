import { open } from 'node:fs/promises';
import { InternalError } from './errors.js';

/** Writes Float32 arrays one after the other, in this machine's byte order, and waits until they are on disk. */
export async function writeFloats(path: string, parts: readonly Float32Array[]): Promise<void> {
  const file = await open(path, 'w');
  try {
    for (const part of parts) {
      const bytes = new Uint8Array(part.buffer, part.byteOffset, part.byteLength);
      for (let at = 0; at < bytes.length; at += CHUNK_BYTES) await file.writeFile(bytes.subarray(at, at + CHUNK_BYTES));
    }
    await file.sync();
  } finally {
    await file.close();
  }
}

/** Makes a file with room for so many Float32 numbers, all 0, which others fill. */
export async function createFloatsFile(path: string, length: number): Promise<void> {
  const file = await open(path, 'w');
  try {
    await file.truncate(4 * length);
  } finally {
    await file.close();
  }
}

/** Fills Float32 arrays from a file written by {@link writeFloats}, in the same order. */
export async function readFloats(path: string, parts: readonly Float32Array[]): Promise<void> {
  const file = await open(path, 'r');
  try {
    for (const part of parts) {
      const bytes = new Uint8Array(part.buffer, part.byteOffset, part.byteLength);
      for (let at = 0; at < bytes.length; ) {
        const { bytesRead } = await file.read(bytes, at, Math.min(CHUNK_BYTES, bytes.length - at), null);
        if (bytesRead === 0) throw new InternalError(`${path} ends early; delete the work folder and run again`);
        at += bytesRead;
      }
    }
  } finally {
    await file.close();
  }
}

const CHUNK_BYTES = 1 << 24;
