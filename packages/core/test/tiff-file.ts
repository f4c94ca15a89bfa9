import { type TiffEntry, tiffDirectory, tiffHeader } from '../src/plate/tiff-layout.js';

/** What a made TIFF holds: one strip of little-endian samples. */
export interface TiffFile {
  readonly width: number;
  readonly height: number;
  readonly samples: ArrayBufferView;
  readonly bits: number;
  readonly perPixel: number;
  /** Tag 262. Default 1 for one sample per pixel, else 2. */
  readonly photometric?: number;
  /** Tag 339. Default 1: unsigned. */
  readonly format?: number;
  /** Tags on top of these or in place of them. */
  readonly tags?: readonly TiffEntry[];
}

/** Bytes of a small uncompressed TIFF, for tests of what readers make of its tags. */
export function tiffFile(file: TiffFile): Buffer {
  const { width, height, samples, bits, perPixel } = file;
  const data = Buffer.from(samples.buffer, samples.byteOffset, samples.byteLength);
  const padded = Buffer.concat([data, Buffer.alloc(data.length & 1)]);
  const each = (value: number): number[] => new Array<number>(perPixel).fill(value);
  const own: TiffEntry[] = [
    { tag: 256, type: 'long', values: [width] },
    { tag: 257, type: 'long', values: [height] },
    { tag: 258, type: 'short', values: each(bits) },
    { tag: 259, type: 'short', values: [1] },
    { tag: 262, type: 'short', values: [file.photometric ?? (perPixel === 1 ? 1 : 2)] },
    { tag: 273, type: 'long', values: [8] },
    { tag: 277, type: 'short', values: [perPixel] },
    { tag: 278, type: 'long', values: [height] },
    { tag: 279, type: 'long', values: [data.length] },
    { tag: 284, type: 'short', values: [1] },
    { tag: 339, type: 'short', values: each(file.format ?? 1) },
  ];
  const given = file.tags ?? [];
  const entries = [...own.filter(({ tag }) => !given.some((entry) => entry.tag === tag)), ...given];
  const at = 8 + padded.length;
  return Buffer.concat([tiffHeader(false, at), padded, tiffDirectory(false, at, entries)]);
}
