import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { createPlane, type Plane } from './image.js';
import { createRandom } from './random.js';
import { shrinkArea } from './shrink.js';

function noise(width: number, height: number): Plane {
  const random = createRandom(`${width}x${height}`);
  const plane = createPlane(width, height);
  for (let i = 0; i < plane.data.length; i++) plane.data[i] = random.uniform();
  return plane;
}

const mean = (plane: Plane): number => plane.data.reduce((sum, v) => sum + v, 0) / plane.data.length;

describe('shrinkArea', () => {
  it('is the mean of the blocks for whole factors', () => {
    const plane = noise(12, 9);
    const small = shrinkArea(plane, 4, 3);
    for (let y = 0; y < 3; y++) {
      for (let x = 0; x < 4; x++) {
        let sum = 0;
        for (let k = 0; k < 9; k++) sum += plane.data[(3 * y + Math.floor(k / 3)) * 12 + 3 * x + (k % 3)]!;
        expect(Math.abs(small.data[y * 4 + x]! - sum / 9)).toBeLessThan(1e-6);
      }
    }
  });

  it('keeps the mean for any sizes', () => {
    const side = fc.integer({ min: 1, max: 40 });
    fc.assert(
      fc.property(side, side, fc.double({ min: 0, max: 1, noNaN: true }), (width, height, k) => {
        const plane = noise(width, height);
        const small = shrinkArea(plane, Math.max(1, Math.round(k * width)), Math.max(1, Math.round(k * height)));
        expect(Math.abs(mean(small) - mean(plane))).toBeLessThan(1e-6);
      }),
      { seed: 5, numRuns: 60 },
    );
  });

  it('puts positions where it says: a ramp stays a ramp', () => {
    const plane = createPlane(100, 3);
    for (let i = 0; i < 300; i++) plane.data[i] = i % 100;
    const small = shrinkArea(plane, 32, 3);
    // The mean of the area from x·s to (x + 1)·s of a staircase differs from the line by under an eighth of a step.
    for (let x = 0; x < 32; x++) expect(Math.abs(small.data[x]! - ((x + 0.5) * 100) / 32 + 0.5)).toBeLessThan(0.125);
  });

  it('copies at full size and refuses to enlarge', () => {
    const plane = noise(7, 5);
    expect(shrinkArea(plane, 7, 5).data).toEqual(plane.data);
    expect(() => shrinkArea(plane, 8, 5)).toThrow('shrinkArea needs 1 to 7 x 1 to 5, got 8 x 5');
    expect(() => shrinkArea(plane, 0, 5)).toThrow(RangeError);
  });
});
