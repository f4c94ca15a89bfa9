import { readFile } from 'node:fs/promises';
import { expect, test } from 'vitest';
import { plateFrom } from '../../test/plate-on-disk.js';
import { useScratch } from '../../test/scratch.js';
import { pictures } from '../capture/picture-library.js';
import type { LinearImage, Plane } from '../compute/image.js';
import { encodeSrgb8 } from './encode.js';
import { srgbProfile } from './icc.js';
import { writePreview } from './preview.js';

const scratch = useScratch();

const SIZE = 128;

/** Left quarter not covered; then sky, ground at 0.1, and a brighter right quarter at 0.2. */
function sample(): { image: LinearImage; coverage: Plane } {
  const levels = [0.9, 0.0005, 0.1, 0.2];
  const plane = Float32Array.from({ length: SIZE * SIZE }, (_, i) => levels[Math.floor((i % SIZE) / 32)]!);
  const data = Float32Array.from({ length: SIZE * SIZE }, (_, i) => (i % SIZE < 32 ? 0 : 1));
  return { image: { width: SIZE, height: SIZE, planes: [plane] }, coverage: { width: SIZE, height: SIZE, data } };
}

async function pixelsOf(path: string): Promise<{ at: (x: number, y: number) => number[]; width: number }> {
  const { data, info } = await pictures(path, { ignoreIcc: true }).raw().toBuffer({ resolveWithObject: true });
  return {
    at: (x, y) => [...data.subarray((y * info.width + x) * 3, (y * info.width + x) * 3 + 3)],
    width: info.width,
  };
}

test('one gain for all: the bright ground lies at 0.8, half of it at 0.4, and the gap has no say', async () => {
  const { image, coverage } = sample();
  const result = await writePreview(scratch('tone.jpg'), plateFrom(scratch('plate.f32'), image, coverage));
  expect(result).toEqual({ widthPx: SIZE, heightPx: SIZE, gain: expect.closeTo(4, 5) });
  const { at } = await pixelsOf(scratch('tone.jpg'));
  // JPEG at quality 90 leaves flat areas within 2 codes.
  for (const [x, linear] of [
    [112, 0.8],
    [80, 0.4],
    [48, 0.002],
  ] as const) {
    for (const code of at(x, 60)) expect(Math.abs(code - encodeSrgb8(linear))).toBeLessThanOrEqual(2);
  }
});

test('a gap is a neutral hatch of two greys, or black', async () => {
  const { image, coverage } = sample();
  await writePreview(scratch('hatch.jpg'), plateFrom(scratch('plate.f32'), image, coverage), { quality: 100 });
  const hatch = await pixelsOf(scratch('hatch.jpg'));
  for (const [x, y, code] of [
    [3, 1, 56],
    [10, 2, 80],
  ] as const) {
    for (const value of hatch.at(x, y)) expect(Math.abs(value - code)).toBeLessThanOrEqual(3);
  }
  await writePreview(scratch('black.jpg'), plateFrom(scratch('plate.f32'), image, coverage), {
    quality: 100,
    background: 'black',
  });
  expect(Math.max(...(await pixelsOf(scratch('black.jpg'))).at(10, 2))).toBeLessThanOrEqual(2);
});

test('a thin crescent is exposed for itself', async () => {
  const { image, coverage } = sample();
  const plane = Float32Array.from({ length: SIZE * SIZE }, (_, i) =>
    i % SIZE === 100 && i < 40 * SIZE ? 0.05 : 0.0001,
  );
  const { gain } = await writePreview(
    scratch('crescent.jpg'),
    plateFrom(scratch('plate.f32'), { ...image, planes: [plane] }, coverage),
  );
  expect(gain).toBeCloseTo(16, 4);
});

test('size, profile, and the same bytes each time', async () => {
  const { image, coverage } = sample();
  const options = { maxSidePx: 50, force: true };
  const first = await writePreview(scratch('small.jpg'), plateFrom(scratch('plate.f32'), image, coverage), options);
  const bytes = await readFile(scratch('small.jpg'));
  expect(first).toMatchObject({ widthPx: 50, heightPx: 50 });
  const meta = await pictures(bytes).metadata();
  expect([meta.format, meta.width, meta.height, meta.space]).toEqual(['jpeg', 50, 50, 'srgb']);
  expect(meta.icc).toEqual(srgbProfile());
  await writePreview(scratch('small.jpg'), plateFrom(scratch('plate.f32'), image, coverage), options);
  expect((await readFile(scratch('small.jpg'))).equals(bytes)).toBe(true);
});

test('nothing covered gives a hatch and no gain', async () => {
  const { image, coverage } = sample();
  const none = { ...coverage, data: new Float32Array(SIZE * SIZE) };
  expect(await writePreview(scratch('none.jpg'), plateFrom(scratch('plate.f32'), image, none))).toMatchObject({
    gain: 1,
  });
});

test('an existing preview stays unless it may be replaced', async () => {
  const { image, coverage } = sample();
  await writePreview(scratch('twice.jpg'), plateFrom(scratch('plate.f32'), image, coverage));
  await expect(
    writePreview(scratch('twice.jpg'), plateFrom(scratch('plate.f32'), image, coverage)),
  ).rejects.toMatchObject({ code: 'OUTPUT_EXISTS' });
});
