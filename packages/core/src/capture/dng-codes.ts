import type { ByteSource } from './byte-source.js';
import type { DngBlock, DngLayout } from './dng-layout.js';
import { decodeLosslessJpeg } from './lossless-jpeg.js';

/** The recorded codes of the stored picture, row by row, the samples of a pixel side by side. Throws a plain `Error`. */
export async function readDngCodes(source: ByteSource, layout: DngLayout): Promise<Uint16Array> {
  const { widthPx, heightPx, samples, blocks } = layout;
  const out = new Uint16Array(widthPx * heightPx * samples);
  for (const block of blocks) {
    const bytes = await source.read(block.offset, block.bytes);
    const codes = layout.coding === 'plain' ? unpack(bytes, block, layout) : expand(bytes, block, samples);
    const from = block.width * samples;
    const kept = Math.min(block.width, widthPx - block.x) * samples;
    const rows = Math.min(block.height, heightPx - block.y);
    for (let y = 0; y < rows; y++) {
      out.set(codes.subarray(y * from, y * from + kept), ((block.y + y) * widthPx + block.x) * samples);
    }
  }
  return out;
}

/** A block's pixels may be coded as rows of another length; their order is the same. */
function expand(bytes: Buffer, { width, height }: DngBlock, samples: number): Uint16Array {
  const wanted = width * height * samples;
  const found = decodeLosslessJpeg(bytes, wanted).samples;
  if (found.length < wanted) throw new Error('a block of its samples is smaller than the file says');
  return found;
}

/** Samples of 16 bits in the byte order of the file; of fewer, packed from the upper bit down, rows in whole bytes. TIFF 6.0. */
function unpack(bytes: Buffer, { width, height }: DngBlock, { samples, bits, littleEndian }: DngLayout): Uint16Array {
  const row = width * samples;
  const out = new Uint16Array(row * height);
  if (bits === 16) {
    for (let i = 0; i < out.length; i++) out[i] = littleEndian ? bytes.readUInt16LE(2 * i) : bytes.readUInt16BE(2 * i);
    return out;
  }
  const stride = Math.ceil((row * bits) / 8);
  const mask = (1 << bits) - 1;
  for (let y = 0, at = 0; y < height; y++) {
    let from = y * stride;
    for (let x = 0, held = 0, count = 0; x < row; x++) {
      while (count < bits) {
        held = ((held << 8) | bytes[from++]!) & 0xffffff;
        count += 8;
      }
      count -= bits;
      out[at++] = (held >> count) & mask;
    }
  }
  return out;
}
