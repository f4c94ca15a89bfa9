import { type ExrBlock, sampleBytes } from './exr-unpack.js';

/**
 * Joins the byte planes of PXR24 and sums their differences along each row: halves have two bytes, whole numbers four,
 * floats their three upper ones. "Technical Introduction to OpenEXR". Throws a plain `Error` when the bytes are not as
 * many as the block needs.
 */
export function unpackPxr24(bytes: Buffer, { width, height, channels }: ExrBlock, length: number): Buffer {
  const rowBytes = channels.reduce(
    (sum, { type }) => sum + width * (type === 'half' ? 2 : type === 'float' ? 3 : 4),
    0,
  );
  if (bytes.length !== rowBytes * height) throw new Error('a block of it has another size than announced');
  const out = Buffer.alloc(length);
  let from = 0;
  let to = 0;
  for (let y = 0; y < height; y++) {
    for (const channel of channels) {
      const planes = channel.type === 'half' ? 2 : channel.type === 'float' ? 3 : 4;
      const lowest = channel.type === 'float' ? 8 : 0;
      let value = 0;
      for (let x = 0; x < width; x++) {
        let step = 0;
        for (let p = 0; p < planes; p++) step = (step << 8) | bytes[from + p * width + x]!;
        value = (value + (step << lowest)) | 0;
        if (planes === 2) out.writeUInt16LE(value & 0xffff, to);
        else out.writeInt32LE(value, to);
        to += sampleBytes(channel);
      }
      from += planes * width;
    }
  }
  return out;
}
