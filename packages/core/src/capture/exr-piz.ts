import { decodePizCodes } from './exr-piz-codes.js';
import { undoWavelet } from './exr-piz-wavelet.js';
import { type ExrBlock, sampleBytes } from './exr-unpack.js';

const BITMAP_BYTES = 8192;

/**
 * Unpacks PIZ: a bitmap of the 16-bit values that occur, then entropy-coded wavelet coefficients of their ranks, channel by
 * channel. "Technical Introduction to OpenEXR"; "OpenEXR File Layout". Throws a plain `Error` for damage.
 */
export function unpackPiz(packed: Buffer, block: ExrBlock, length: number): Buffer {
  const { width, height, channels } = block;
  if (packed.length < 8) throw new Error('a block of it is cut short');
  const first = packed.readUInt16LE(0);
  const last = packed.readUInt16LE(2);
  let at = 4;
  const bitmap = new Uint8Array(BITMAP_BYTES);
  if (last >= BITMAP_BYTES) throw new Error('a block of it is damaged');
  if (first <= last) {
    const size = last - first + 1;
    if (at + size > packed.length) throw new Error('a block of it is cut short');
    bitmap.set(packed.subarray(at, at + size), first);
    at += size;
  }
  const values = valuesOf(bitmap);
  if (at + 4 > packed.length) throw new Error('a block of it is cut short');
  const codesBytes = packed.readInt32LE(at);
  at += 4;
  if (codesBytes < 0 || at + codesBytes > packed.length) throw new Error('a block of it is cut short');
  const words = decodePizCodes(packed.subarray(at, at + codesBytes), length / 2);
  let start = 0;
  for (const channel of channels) {
    // Samples of 32 bits are two words side by side, each a picture of its own.
    const step = sampleBytes(channel) / 2;
    for (let j = 0; j < step; j++) undoWavelet(words, start + j, width, step, height, width * step, values.largest);
    start += width * height * step;
  }
  return rowByRow(words, values.table, block, length);
}

/** Value of every rank; 0 always has a rank. */
function valuesOf(bitmap: Uint8Array): { readonly table: Uint16Array; readonly largest: number } {
  const table = new Uint16Array(65536);
  let count = 0;
  for (let value = 0; value < 65536; value++) {
    if (value === 0 || (bitmap[value >> 3]! & (1 << (value & 7))) !== 0) table[count++] = value;
  }
  return { table, largest: count - 1 };
}

function rowByRow(
  words: Uint16Array,
  table: Uint16Array,
  { width, height, channels }: ExrBlock,
  length: number,
): Buffer {
  const out = Buffer.alloc(length);
  let to = 0;
  for (let y = 0; y < height; y++) {
    let start = 0;
    for (const channel of channels) {
      const rowWords = (width * sampleBytes(channel)) / 2;
      for (let i = 0, from = start + y * rowWords; i < rowWords; i++, from++, to += 2) {
        out.writeUInt16LE(table[words[from]!]!, to);
      }
      start += rowWords * height;
    }
  }
  return out;
}
