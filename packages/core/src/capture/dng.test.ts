import { open, writeFile } from 'node:fs/promises';
import { fileURLToPath } from 'node:url';
import { describe, expect, it } from 'vitest';
import { losslessJpeg } from '../../test/lossless-jpeg-file.js';
import { useScratch } from '../../test/scratch.js';
import { type TiffFile, tiffFile } from '../../test/tiff-file.js';
import type { TiffEntry } from '../plate/tiff-layout.js';
import { bytesOf } from './byte-source.js';
import { readDngCodes } from './dng-codes.js';
import { readDngLayout } from './dng-layout.js';
import { readStill } from './read-still.js';

const scratch = useScratch();
let made = 0;

const WIDTH = 12;
const HEIGHT = 8;
/** Codes of a grey ramp down behind filters through which red is half and blue three quarters of green. */
const BLACK = 512;
const WHITE = 16_383;

function greyAt(y: number): number {
  return (y + 1) / 10;
}

function mosaicCodes(): Uint16Array {
  return Uint16Array.from({ length: WIDTH * HEIGHT }, (_, i) => {
    const [x, y] = [i % WIDTH, Math.floor(i / WIDTH)];
    const share = [
      [0.5, 1],
      [1, 0.75],
    ][y & 1]![x & 1]!;
    return Math.round(BLACK + (WHITE - BLACK) * greyAt(y) * share);
  });
}

const MOSAIC: readonly TiffEntry[] = [
  { tag: 33421, type: 'short', values: [2, 2] },
  { tag: 33422, type: 'byte', values: [0, 1, 1, 2] },
  { tag: 50706, type: 'byte', values: [1, 4, 0, 0] },
  { tag: 50714, type: 'long', values: [BLACK] },
  { tag: 50717, type: 'long', values: [WHITE] },
  { tag: 50728, type: 'short', values: [2, 4, 3] },
];

async function dng(tags: readonly TiffEntry[], file: Partial<TiffFile> = {}): Promise<string> {
  const path = scratch(`${made++}.dng`);
  const shape = { width: WIDTH, height: HEIGHT, samples: mosaicCodes(), bits: 16, perPixel: 1, photometric: 32_803 };
  await writeFile(path, tiffFile({ ...shape, ...file, tags: [...tags].sort((a, b) => a.tag - b.tag) }));
  return path;
}

function expectGreyRamp(planes: readonly Float32Array[], width: number, top = 0): void {
  for (const plane of planes) {
    plane.forEach((value, i) => {
      const row = Math.floor(i / width);
      // Demosaicing does not see beyond the border.
      if (row > 0 && row < plane.length / width - 1) expect(value).toBeCloseTo(greyAt(row + top), 3);
    });
  }
}

describe('DNG', () => {
  it('makes grey of what is grey behind colour filters, from black to white', async () => {
    const still = await readStill(await dng(MOSAIC));
    expect(still).toMatchObject({ curve: 'linear', image: { width: WIDTH, height: HEIGHT }, clipped: 0 });
    expect(still.image.planes).toHaveLength(3);
    expectGreyRamp(still.image.planes, WIDTH);
  });

  it.each([1, 4, 7])('reads lossless JPEG by predictor %i whose rows are pairs of components', async (predictor) => {
    const jpeg = losslessJpeg(mosaicCodes(), { width: WIDTH / 2, height: HEIGHT, components: 2, predictor });
    const path = await dng([...MOSAIC, { tag: 259, type: 'short', values: [7] }], { samples: jpeg });
    expect((await readStill(path)).image.planes).toEqual((await readStill(await dng(MOSAIC))).image.planes);
  });

  it('reads a file whose codes LibRaw 0.20.2 reads as they were made', async () => {
    const file = await open(fileURLToPath(new URL('../../test/stills/lossless-jpeg.dng', import.meta.url)));
    const source = bytesOf(file, (await file.stat()).size);
    const codes = await readDngCodes(source, await readDngLayout(source));
    await file.close();
    const made = Uint16Array.from({ length: 64 * 48 }, (_, i) => {
      const [x, y] = [i % 64, Math.floor(i / 64)];
      const share = [
        [0.5, 1],
        [1, 0.75],
      ][y & 1]![x & 1]!;
      return Math.round(512 + 15_871 * ((y + 1) / 50) * share + ((x * 7 + y * 13) % 29));
    });
    expect(codes).toEqual(made);
  });

  it('cuts to the active area and the default crop, and keeps the phase of the filters', async () => {
    const area: TiffEntry[] = [
      { tag: 50719, type: 'long', values: [1, 1] },
      { tag: 50720, type: 'long', values: [9, 5] },
      { tag: 50829, type: 'long', values: [2, 2, HEIGHT, WIDTH] },
    ];
    const { image } = await readStill(await dng([...MOSAIC, ...area]));
    expect([image.width, image.height]).toEqual([9, 5]);
    expectGreyRamp(image.planes, 9, 3);
  });

  it('keeps 12 bits that are packed', async () => {
    const codes = Array.from({ length: WIDTH * HEIGHT }, (_, i) => (i * 41) & 4095);
    const packed = Buffer.alloc((codes.length * 3) / 2);
    for (let i = 0; i < codes.length; i += 2) {
      packed.writeUIntBE((codes[i]! << 12) | codes[i + 1]!, (i * 3) / 2, 3);
    }
    const tags: TiffEntry[] = [{ tag: 50706, type: 'byte', values: [1, 4, 0, 0] }];
    const path = await dng(tags, { samples: packed, bits: 12, photometric: 34_892 });
    const { image, bitsPerSample } = await readStill(path);
    expect(bitsPerSample).toBe(12);
    image.planes[0]!.forEach((value, i) => {
      expect(value).toBeCloseTo(codes[i]! / 4095, 6);
    });
  });

  it('brings linear colours of known primaries to those of sRGB', async () => {
    // The camera's colours are CIE XYZ, whose white is that of sRGB: IEC 61966-2-1.
    const [red, green, blue] = [0.6, 0.2, 0.05];
    const xyz = [
      0.4124 * red + 0.3576 * green + 0.1805 * blue,
      0.2126 * red + 0.7152 * green + 0.0722 * blue,
      0.0193 * red + 0.1192 * green + 0.9505 * blue,
    ];
    const samples = new Uint16Array(WIDTH * HEIGHT * 3).map((_, i) => Math.round((65_535 * xyz[i % 3]!) / 1.089));
    const tags: TiffEntry[] = [
      { tag: 50706, type: 'byte', values: [1, 4, 0, 0] },
      { tag: 50721, type: 'byte', values: [1, 0, 0, 0, 1, 0, 0, 0, 1] },
      { tag: 50728, type: 'short', values: [9505, 10_000, 10_890] },
    ];
    const { image } = await readStill(await dng(tags, { samples, perPixel: 3, photometric: 34_892 }));
    expect(image.planes[0]![5]).toBeCloseTo(red, 3);
    expect(image.planes[1]![5]).toBeCloseTo(green, 3);
    expect(image.planes[2]![5]).toBeCloseTo(blue, 3);
  });

  it('counts what is clipped, and does not tint it', async () => {
    const samples = mosaicCodes().fill(WHITE, 3 * WIDTH);
    const { image, clipped } = await readStill(await dng(MOSAIC, { samples }));
    expect(clipped).toBeCloseTo(5 / 8, 6);
    for (const plane of image.planes) expect(plane[6 * WIDTH + 5]).toBe(1);
  });

  it.each<[string, TiffEntry, string]>([
    ['lossy JPEG', { tag: 259, type: 'short', values: [34_892] }, 'compressed as lossy JPEG'],
    ['other filters', { tag: 33422, type: 'byte', values: [0, 1, 2, 2] }, 'not of Bayer'],
    ['white below black', { tag: 50717, type: 'long', values: [BLACK] }, 'not above its black'],
    ['a crop beyond the picture', { tag: 50720, type: 'long', values: [13, 8] }, 'not within its active area'],
    ['data beyond the file', { tag: 273, type: 'long', values: [1_000_000] }, 'cut short'],
    ['no sensor data', { tag: 254, type: 'long', values: [1] }, 'no data of a sensor'],
  ])('refuses %s', async (_name, entry, message) => {
    const tags = [...MOSAIC.filter(({ tag }) => tag !== entry.tag), entry];
    await expect(readStill(await dng(tags))).rejects.toMatchObject({
      code: 'FRAME_UNREADABLE',
      message: expect.stringContaining(message),
    });
  });
});
