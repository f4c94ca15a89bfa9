import { writeFile } from 'node:fs/promises';
import { promisify } from 'node:util';
import { deflate } from 'node:zlib';
import type { Plane } from '../compute/image.js';
import { writeWhole } from './atomic.js';
import { headerBytes, type TiffEntry, tiffDirectory, tiffHeader } from './tiff-layout.js';

const compress = promisify(deflate) as (data: Buffer) => Promise<Buffer>;

/**
 * Writes a plane as a grey TIFF of 32-bit floats, in one strip, deflate (TIFF 6.0). The file appears whole or not at all.
 * Throws what {@link writeWhole} throws.
 */
export async function writeFloatTiff(path: string, plane: Plane, options: { readonly force: boolean }): Promise<void> {
  const { width, height, data } = plane;
  const samples = await compress(Buffer.from(data.buffer, data.byteOffset, data.byteLength));
  const padded = Buffer.concat([samples, Buffer.alloc(samples.length & 1)]);
  const first = headerBytes(false);
  const entries: TiffEntry[] = [
    { tag: 256, type: 'long', values: [width] },
    { tag: 257, type: 'long', values: [height] },
    { tag: 258, type: 'short', values: [32] }, // BitsPerSample
    { tag: 259, type: 'short', values: [8] }, // Compression: deflate
    { tag: 262, type: 'short', values: [1] }, // PhotometricInterpretation: black is 0
    { tag: 273, type: 'offset', values: [first] }, // StripOffsets
    { tag: 277, type: 'short', values: [1] }, // SamplesPerPixel
    { tag: 278, type: 'long', values: [height] }, // RowsPerStrip
    { tag: 279, type: 'long', values: [samples.length] }, // StripByteCounts
    { tag: 339, type: 'short', values: [3] }, // SampleFormat: float
  ];
  const end = first + padded.length;
  const whole = Buffer.concat([tiffHeader(false, end), padded, tiffDirectory(false, end, entries)]);
  await writeWhole(path, (temporary) => writeFile(temporary, whole, { flag: 'wx' }), options);
}
