import { type ExrBlock, sampleBytes } from './exr-unpack.js';

/**
 * Unpacks B44 and B44A: halves in squares of 4 x 4 from 14 bytes, or 3 where all are equal; channels of other kinds are
 * stored as they are. Channel by channel. "Technical Introduction to OpenEXR"; "OpenEXR File Layout". Throws a plain
 * `Error` when the bytes end too early, or for channels whose halves are stored on a perceptual scale.
 */
export function unpackB44(packed: Buffer, { width, height, channels }: ExrBlock, length: number): Buffer {
  const out = Buffer.alloc(length);
  const rowBytes = length / height;
  const square = new Uint16Array(16);
  let from = 0;
  let column = 0;
  const take = (bytes: number): number => {
    const at = from;
    from += bytes;
    if (from > packed.length) throw new Error('a block of it is cut short');
    return at;
  };
  for (const channel of channels) {
    const channelBytes = width * sampleBytes(channel);
    if (channel.type !== 'half') {
      for (let y = 0; y < height; y++) packed.copy(out, y * rowBytes + column, take(channelBytes), from);
    } else {
      if (channel.perceptual) throw new Error('its B44 channels are on a perceptual scale, which is not read');
      for (let y = 0; y < height; y += 4) {
        for (let x = 0; x < width; x += 4) {
          const at = take(3);
          if (packed[at + 2]! >= 13 << 2) square.fill(decoded((packed[at]! << 8) | packed[at + 1]!));
          else unpackSquare(packed, at, take(11), square);
          for (let i = 0; i < 16; i++) {
            const [px, py] = [x + (i & 3), y + (i >> 2)];
            if (px < width && py < height) out.writeUInt16LE(square[i]!, py * rowBytes + column + px * 2);
          }
        }
      }
    }
    column += channelBytes;
  }
  return out;
}

/** Ordered codes to halves: positive numbers have their top bit set, negative ones are inverted. */
function decoded(ordered: number): number {
  return ordered & 0x8000 ? ordered & 0x7fff : ~ordered & 0xffff;
}

/** The first sample, a shift, and 15 differences of 6 bits: down the first column, then along each row. */
function unpackSquare(packed: Buffer, at: number, rest: number, square: Uint16Array): void {
  const bytes = (i: number): number => packed[i < 3 ? at + i : rest + i - 3]!;
  const shift = bytes(2) >> 2;
  const bias = (0x20 << shift) & 0xffff;
  const difference = (index: number): number => {
    const bit = 22 + index * 6;
    const pair = (bytes(bit >> 3) << 8) | ((bit >> 3) + 1 < 14 ? bytes((bit >> 3) + 1) : 0);
    return (((pair >> (10 - (bit & 7))) & 0x3f) << shift) - bias;
  };
  const ordered = new Uint16Array(16);
  ordered[0] = (bytes(0) << 8) | bytes(1);
  // Differences 0 to 2 lead down the first column, the others from each column to the next one.
  for (let row = 1; row < 4; row++) ordered[row * 4] = ordered[row * 4 - 4]! + difference(row - 1);
  for (let x = 1; x < 4; x++) {
    for (let row = 0; row < 4; row++) {
      ordered[row * 4 + x] = ordered[row * 4 + x - 1]! + difference(3 + (x - 1) * 4 + row);
    }
  }
  for (let i = 0; i < 16; i++) square[i] = decoded(ordered[i]!);
}
