import { writeFile } from 'node:fs/promises';
import { expect, test } from 'vitest';
import { useScratch } from '../../test/scratch.js';
import { shared } from '../../test/shared.js';
import { tiffFile } from '../../test/tiff-file.js';
import { decodeSrgb } from '../capture/curves.js';
import { pictures } from '../capture/picture-library.js';
import { readPlate } from './read-plate.js';

const scratch = useScratch();

test('an 8-bit PNG with alpha', async () => {
  const path = scratch('alpha.png');
  await pictures(Buffer.from([200, 100, 50, 51, 10, 20, 30, 0]), { raw: { width: 2, height: 1, channels: 4 } })
    .png()
    .toFile(path);
  const { image, coverage } = await readPlate(path);
  expect(image.planes.map((plane) => plane[0])).toEqual([200, 100, 50].map((c) => Math.fround(decodeSrgb(c / 255))));
  expect([...coverage.data]).toEqual([Math.fround(0.2), 0]);
});

test('a grey file without alpha is covered everywhere', async () => {
  const path = scratch('grey.png');
  await pictures(Buffer.from([0, 255]), { raw: { width: 2, height: 1, channels: 1 } })
    .toColourspace('b-w')
    .png()
    .toFile(path);
  const { image, coverage } = await readPlate(path);
  expect(image.planes.map((plane) => [...plane])).toEqual([[0, 1]]);
  expect([...coverage.data]).toEqual([1, 1]);
});

test('floats with alpha, turned', async () => {
  const path = scratch('float.tif');
  const samples = Float32Array.of(0.1, 0.2, 0.3, 1, 0.4, 0.5, 0.6, 0.5);
  const tags = [
    { tag: 338, type: 'short', values: [2] },
    { tag: 274, type: 'short', values: [3] },
  ] as const;
  await writeFile(path, tiffFile({ width: 2, height: 1, samples, bits: 32, perPixel: 4, format: 3, tags }));
  const { image, coverage } = await readPlate(path);
  expect(image.planes.map((plane) => plane[0])).toEqual([0.4, 0.5, 0.6].map(Math.fround));
  expect([...coverage.data]).toEqual([0.5, 1]);
});

test('the plates of a real capture’s truth', async () => {
  const { image, coverage } = await readPlate('../shared/real/captures/open_halves/truth.png');
  expect(image.width).toBeGreaterThan(960);
  expect(image.planes.every((plane) => plane.every((value) => value >= 0 && value <= 1))).toBe(true);
  expect(coverage.data.every((value) => value === 1)).toBe(true);
});

test('what is not a plate is a typed error', async () => {
  for (const path of [scratch('missing.tif'), shared('real/formats/broken/hopper_naxis_zero.fits')]) {
    await expect(readPlate(path)).rejects.toMatchObject({
      code: 'PLATE_UNREADABLE',
      message: expect.stringContaining('cannot be read as a plate'),
    });
  }
});
