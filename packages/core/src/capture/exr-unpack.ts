import { inflateSync } from 'node:zlib';
import { unpackB44 } from './exr-b44.js';
import type { ExrChannel, ExrCompression } from './exr-header.js';
import { unpackPiz } from './exr-piz.js';
import { unpackPxr24 } from './exr-pxr24.js';

/** Bytes of one sample. */
export function sampleBytes({ type }: ExrChannel): number {
  return type === 'half' ? 2 : 4;
}

/** A block of a picture: whole rows, or a tile. */
export interface ExrBlock {
  readonly width: number;
  readonly height: number;
  readonly channels: readonly ExrChannel[];
}

/** Rows of a block by its compression. */
export const ROWS_PER_BLOCK: Readonly<Record<ExrCompression, number>> = {
  none: 1,
  RLE: 1,
  ZIPS: 1,
  ZIP: 16,
  PIZ: 32,
  PXR24: 16,
  B44: 32,
  B44A: 32,
  DWAA: 32,
  DWAB: 256,
};

/** No compression makes a block smaller than by this; checked before memory is taken. */
const MOST_RATIO = 1100;

/**
 * Unpacks a block to little-endian samples: row by row, in each row all samples of one channel, then of the next. A block
 * that did not become smaller is stored as it is. "OpenEXR File Layout" and "Technical Introduction to OpenEXR" (Academy
 * Software Foundation). Throws a plain `Error` when the bytes do not give exactly that many samples.
 */
export function unpackBlock(compression: ExrCompression, packed: Buffer, block: ExrBlock): Buffer {
  const rowBytes = block.channels.reduce((sum, channel) => sum + sampleBytes(channel) * block.width, 0);
  const length = rowBytes * block.height;
  if (packed.length === length) return packed;
  if (packed.length > length || packed.length * MOST_RATIO < length || compression === 'none') {
    throw new Error(damage(packed.length, length));
  }
  if (compression === 'PIZ') return unpackPiz(packed, block, length);
  if (compression === 'B44' || compression === 'B44A') return unpackB44(packed, block, length);
  if (compression === 'PXR24') return unpackPxr24(inflated(packed, length), block, length);
  const bytes = compression === 'RLE' ? runs(packed, length) : inflated(packed, length);
  if (bytes.length !== length) throw new Error(damage(bytes.length, length));
  return interleaved(bytes);
}

function damage(found: number, expected: number): string {
  return `a block of it has ${found} bytes where ${expected} are expected`;
}

function inflated(packed: Buffer, most: number): Buffer {
  return inflateSync(packed, { maxOutputLength: Math.max(1, most) });
}

/** Runs: a count below 0 copies so many bytes, one from 0 on repeats the next byte so many times and once more. */
function runs(packed: Buffer, length: number): Buffer {
  const out = Buffer.alloc(length);
  let to = 0;
  for (let at = 0; at < packed.length; ) {
    const count = packed.readInt8(at++);
    const size = count < 0 ? -count : count + 1;
    if (to + size > length || at >= packed.length) throw new Error('a block of it is damaged');
    if (count < 0) {
      if (at + size > packed.length) throw new Error('a block of it is cut short');
      packed.copy(out, to, at, at + size);
      at += size;
    } else out.fill(packed[at++]!, to, to + size);
    to += size;
  }
  return out.subarray(0, to);
}

/** Undoes the differences between neighbouring bytes, then joins the even bytes (first half) with the odd ones. */
function interleaved(bytes: Buffer): Buffer {
  for (let i = 1; i < bytes.length; i++) bytes[i] = (bytes[i - 1]! + bytes[i]! - 128) & 0xff;
  const out = Buffer.alloc(bytes.length);
  const half = (bytes.length + 1) >> 1;
  for (let i = 0, at = 0; at < bytes.length; i++) {
    out[at++] = bytes[i]!;
    if (at < bytes.length) out[at++] = bytes[half + i]!;
  }
  return out;
}
