import { describe, expect, it } from 'vitest';
import { expectSamples } from '../../test/floats.js';
import { planeOf } from '../../test/scene-field.js';
import { binPlane } from './downsample.js';

describe('binPlane', () => {
  it('averages whole blocks and drops incomplete ones', () => {
    const binned = binPlane(
      planeOf(7, 5, (x, y) => 100 * y + x),
      2,
    );
    expect([binned.width, binned.height]).toEqual([3, 2]);
    // The mean of a 2 × 2 block at (2c, 2r) of 100·y + x is 100·(2r + ½) + 2c + ½; exact in Float32.
    expectSamples(binned.data, [50.5, 52.5, 54.5, 250.5, 252.5, 254.5]);
  });

  it('copies for a factor of 1 and leaves its input alone', () => {
    const plane = planeOf(5, 4, (x, y) => Math.sin(x + 9 * y));
    const before = plane.data.slice();
    const copy = binPlane(plane, 1);
    expectSamples(copy.data, before);
    copy.data.fill(0);
    expectSamples(plane.data, before);
  });

  it('keeps the mean of a plane that it divides evenly', () => {
    const plane = planeOf(60, 48, (x, y) => ((x * 37 + y * 91) % 101) / 101);
    const mean = (data: Float32Array): number => data.reduce((sum, v) => sum + v, 0) / data.length;
    // Float32 rounding of sums of 36 values below 1: about 36 · 6e-8.
    for (const factor of [2, 3, 4, 6])
      expect(Math.abs(mean(binPlane(plane, factor).data) - mean(plane.data))).toBeLessThan(2e-6);
  });

  it('gives an empty plane when not one block fits', () => {
    const binned = binPlane(
      planeOf(3, 9, () => 1),
      4,
    );
    expect([binned.width, binned.height, binned.data.length]).toEqual([0, 2, 0]);
  });
});
