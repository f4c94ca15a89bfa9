import type { FileHandle } from 'node:fs/promises';
import type { OpenFile } from './tiff-tags.js';

/** A file of which ranges are read: what a header announces beyond its end is refused before memory is taken. */
export interface ByteSource {
  readonly sizeBytes: number;
  /** Exactly these bytes. Throws a plain `Error` when they are not all there. */
  read(offset: number, length: number): Promise<Buffer>;
}

/** Longest range that is read in one go, in bytes. */
const MOST_BYTES = 2 ** 31;

/** An open file as a source of byte ranges. */
export function bytesOf(file: FileHandle, sizeBytes: number): ByteSource {
  return {
    sizeBytes,
    read: async (offset, length) => {
      if (!(offset >= 0 && length >= 0 && offset + length <= sizeBytes)) {
        throw new Error(
          `it is cut short: bytes ${offset} to ${offset + length} are needed, the file has ${sizeBytes} bytes`,
        );
      }
      if (length > MOST_BYTES) throw new Error(`one of its parts has ${length} bytes; at most ${MOST_BYTES} are read`);
      const { buffer, bytesRead } = await file.read(Buffer.allocUnsafe(length), 0, length, offset);
      if (bytesRead !== length) throw new Error('it became shorter while being read');
      return buffer;
    },
  };
}

/** A source of byte ranges as what {@link OpenFile} wants. */
export function asFile(source: ByteSource): OpenFile {
  return {
    read: async (buffer, offset, length, position) => ({
      buffer,
      bytesRead: (await source.read(position, length)).copy(buffer, offset),
    }),
  };
}
