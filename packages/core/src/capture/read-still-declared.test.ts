import { writeFile } from 'node:fs/promises';
import { describe, expect, test } from 'vitest';
import { withChunk } from '../../test/png-file.js';
import { useScratch } from '../../test/scratch.js';
import { type TiffFile, tiffFile } from '../../test/tiff-file.js';
import { decodeBt709, decodeSrgb } from './curves.js';
import { pictures } from './picture-library.js';
import { readStill } from './read-still.js';

const scratch = useScratch();

/** All 65536 codes as a picture of 256 x 256. */
const RAMP = Uint16Array.from({ length: 65536 }, (_, code) => code);

async function writeTiff(name: string, file: TiffFile): Promise<string> {
  await writeFile(scratch(name), tiffFile(file));
  return scratch(name);
}

describe('alpha', () => {
  const pixel = [200, 100, 50, 128];
  const rgba = (kind: number): TiffFile => ({
    width: 4,
    height: 4,
    samples: Uint8Array.from({ length: 64 }, (_, i) => pixel[i % 4]!),
    bits: 8,
    perPixel: 4,
    tags: [{ tag: 338, type: 'short', values: [kind] }],
  });

  test('unassociated alpha is dropped with a note', async () => {
    const { image, notes } = await readStill(await writeTiff('alpha.tif', rgba(2)), { curve: 'linear' });
    expect(image.planes.map((plane) => Math.round(plane[5]! * 255))).toEqual([200, 100, 50]);
    expect(notes).toEqual(['The alpha channel is dropped.']);
  });

  test('premultiplied 8-bit colours are divided', async () => {
    const { image, notes } = await readStill(await writeTiff('premultiplied.tif', rgba(1)), { curve: 'linear' });
    // 200 / 128 is beyond white; 100 / 128 and 50 / 128 of 255 are 199.2 and 99.6; the decoder may round either way.
    const [red, green, blue] = image.planes.map((plane) => plane[5]! * 255);
    expect(red).toBeCloseTo(255, 4);
    expect(Math.abs(green! - 199.2)).toBeLessThan(1);
    expect(Math.abs(blue! - 99.6)).toBeLessThan(1);
    expect(notes).toHaveLength(1);
  });

  test('premultiplied float colours are divided', async () => {
    const samples = Float32Array.from({ length: 16 }, (_, i) => [0.2, 0.1, 0.05, 0.25][i % 4]!);
    const tags = [{ tag: 338, type: 'short', values: [1] }] as const;
    const path = await writeTiff('pre-float.tif', {
      width: 2,
      height: 2,
      samples,
      bits: 32,
      perPixel: 4,
      format: 3,
      tags,
    });
    const { image } = await readStill(path);
    expect(image.planes.map((plane) => plane[3])).toEqual([0.8, 0.4, 0.2].map((value) => expect.closeTo(value, 6)));
  });

  test('an extra sample that is not explained is refused', async () => {
    const path = await writeTiff('extra.tif', { ...rgba(2), tags: [] });
    await expect(readStill(path)).rejects.toThrow('beyond the colours');
  });
});

describe('what a PNG declares', () => {
  async function declared(type: string, data: Buffer): Promise<string> {
    const png = await pictures(RAMP, { raw: { width: 256, height: 256, channels: 1 } })
      .toColourspace('grey16')
      .png()
      .toBuffer();
    await writeFile(scratch('declared.png'), withChunk(png, type, data));
    return scratch('declared.png');
  }

  function gama(gamma: number): Buffer {
    const data = Buffer.alloc(4);
    data.writeUInt32BE(Math.round(gamma * 100000));
    return data;
  }

  test.each([
    ['cICP 1', 'cICP', Buffer.from([1, 1, 0, 1]), 'bt709', decodeBt709(0.4)],
    ['cICP 8', 'cICP', Buffer.from([1, 8, 0, 1]), 'linear', 0.4],
    ['cICP 13', 'cICP', Buffer.from([1, 13, 0, 1]), 'srgb', decodeSrgb(0.4)],
    ['sRGB', 'sRGB', Buffer.from([0]), 'srgb', decodeSrgb(0.4)],
    ['gAMA 0.45455', 'gAMA', gama(0.45455), 'srgb', decodeSrgb(0.4)],
    ['gAMA 1', 'gAMA', gama(1), 'linear', 0.4],
    ['gAMA 0.5', 'gAMA', gama(0.5), 'gamma', 0.16],
  ])('%s', async (_, type, data, curve, expected) => {
    const still = await readStill(await declared(type, data));
    expect(still.curve).toBe(curve);
    expect(still.image.planes[0]![Math.round(0.4 * 65535)]).toBeCloseTo(expected, 7);
  });

  test('an override takes the codes as they are', async () => {
    const still = await readStill(await declared('gAMA', gama(0.5)), { curve: 'linear' });
    expect(still.image.planes[0]![26214]).toBe(Math.fround(26214 / 65535));
  });

  test('a curve for screens of high range is refused', async () => {
    await expect(readStill(await declared('cICP', Buffer.from([9, 16, 0, 1])))).rejects.toThrow('characteristics 16');
  });
});
