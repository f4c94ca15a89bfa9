import fc from 'fast-check';
import { expect, test } from 'vitest';
import { plateFrom } from '../../test/plate-on-disk.js';
import { useScratch } from '../../test/scratch.js';
import type { LinearImage, Plane } from '../compute/image.js';
import { type Shrunk, shrink } from './shrink.js';

const scratch = useScratch();
const shrunk = (image: LinearImage, coverage: Plane, side: number): Shrunk =>
  shrink(plateFrom(scratch('plate.f32'), image, coverage), side);

function picture(width: number, height: number, value: (x: number, y: number) => number): LinearImage {
  const plane = Float32Array.from({ length: width * height }, (_, i) => value(i % width, Math.floor(i / width)));
  return { width, height, planes: [plane] };
}

function covered(width: number, height: number, value: (x: number, y: number) => number = () => 1): Plane {
  return { width, height, data: picture(width, height, value).planes[0]! };
}

test('a picture that fits stays as it is, exactly', () => {
  const image = picture(7, 5, (x, y) => x / 7 + y / 50);
  const out = shrunk(image, covered(7, 5), 7);
  expect(out.image).toEqual(image);
  expect(out.coverage).toEqual(covered(7, 5));
});

test('halving takes the mean of four', () => {
  const { image } = shrunk(
    picture(4, 2, (x, y) => x + 10 * y),
    covered(4, 2),
    2,
  );
  expect([image.width, image.height]).toEqual([2, 1]);
  expect([...image.planes[0]!]).toEqual([5.5, 7.5]);
});

test('any size: means and coverage are kept, weighted by area', () => {
  const size = fc.integer({ min: 1, max: 40 });
  fc.assert(
    fc.property(size, size, fc.integer({ min: 1, max: 40 }), (width, height, side) => {
      const image = picture(width, height, (x, y) => ((x * 7 + y * 13) % 11) / 10);
      const out = shrunk(image, covered(width, height), side);
      const mean = (data: Float32Array): number => data.reduce((sum, value) => sum + value, 0) / data.length;
      // Float32 sums of at most 1600 values.
      expect(Math.abs(mean(out.image.planes[0]!) - mean(image.planes[0]!))).toBeLessThan(1e-5);
      expect(Math.abs(mean(out.coverage.data) - 1)).toBeLessThan(1e-6);
      expect(Math.max(out.image.width, out.image.height)).toBeLessThanOrEqual(Math.max(1, side));
    }),
    { seed: 5 },
  );
});

test('what is not covered has no say', () => {
  const out = shrunk(
    picture(4, 1, (x) => (x === 0 ? 0.4 : 9)),
    covered(4, 1, (x) => (x === 0 ? 1 : 0)),
    2,
  );
  expect([...out.image.planes[0]!]).toEqual([Math.fround(0.4), 0]);
  expect([...out.coverage.data]).toEqual([0.5, 0]);
});

test('a plate that is read in several bands loses nothing at their borders', () => {
  const [width, height] = [1700, 1600];
  const image = picture(width, height, (_, y) => y / height);
  const out = shrunk(image, covered(width, height), 37);
  out.image.planes[0]!.forEach((v, i) => {
    const y = Math.floor(i / out.image.width);
    // The mean of an even rise is its middle.
    expect(Math.abs(v - ((y + 0.5) / out.image.height - 0.5 / height))).toBeLessThan(1e-5);
  });
  expect(Math.min(...out.coverage.data)).toBeGreaterThan(1 - 1e-6);
});
