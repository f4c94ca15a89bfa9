import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { gaussianBlur } from './gaussian.js';
import { createPlane, type Plane } from './image.js';
import { createRandom } from './random.js';

function noise(width: number, height: number, seed: string): Plane {
  const random = createRandom(seed);
  const plane = createPlane(width, height);
  for (let i = 0; i < plane.data.length; i++) plane.data[i] = random.normal();
  return plane;
}

const sizes = fc.record({ width: fc.integer({ min: 1, max: 23 }), height: fc.integer({ min: 1, max: 23 }) });

describe('gaussianBlur', () => {
  it('matches the two-dimensional sum written out, mirrored borders included', () => {
    fc.assert(
      fc.property(sizes, fc.double({ min: 0.3, max: 4, noNaN: true }), ({ width, height }, sigmaPx) => {
        const plane = noise(width, height, `${width}x${height}`);
        const blurred = gaussianBlur(plane, sigmaPx);
        const radius = Math.max(1, Math.round(4 * sigmaPx));
        const mirror = (i: number, n: number): number => {
          let k = i;
          while (n > 1 && (k < 0 || k >= n)) k = k < 0 ? -k : 2 * (n - 1) - k;
          return n > 1 ? k : 0;
        };
        const x0 = width >> 1;
        const y0 = height >> 2;
        let sum = 0;
        let norm = 0;
        for (let dy = -radius; dy <= radius; dy++) {
          for (let dx = -radius; dx <= radius; dx++) {
            const weight = Math.exp(-(dx * dx + dy * dy) / (2 * sigmaPx * sigmaPx));
            sum += weight * plane.data[mirror(y0 + dy, height) * width + mirror(x0 + dx, width)]!;
            norm += weight;
          }
        }
        // Float32 rounding between and after the two passes: 2 ulp of values of order 1.
        expect(Math.abs(blurred.data[y0 * width + x0]! - sum / norm)).toBeLessThan(1e-6);
      }),
      { seed: 7, numRuns: 60 },
    );
  });

  it('keeps a constant plane constant and leaves its input alone', () => {
    const plane = createPlane(37, 20);
    plane.data.fill(0.625);
    const blurred = gaussianBlur(plane, 9.3);
    expect(plane.data.every((v) => v === 0.625)).toBe(true);
    expect(blurred.data.every((v) => Math.abs(v - 0.625) < 1e-7)).toBe(true);
  });

  it('gives a point the variance of sigma squared', () => {
    const plane = createPlane(81, 81);
    plane.data[40 * 81 + 40] = 1;
    const blurred = gaussianBlur(plane, 6);
    let variance = 0;
    for (let i = 0; i < blurred.data.length; i++) variance += blurred.data[i]! * ((i % 81) - 40) ** 2;
    // The cut at 4 sigma takes 0.1 % of the variance away.
    expect(Math.abs(variance - 36)).toBeLessThan(0.08);
  });

  it('commutes with transposition', () => {
    const plane = noise(33, 18, 'turn');
    const turned = createPlane(18, 33);
    for (let i = 0; i < plane.data.length; i++) {
      turned.data[(i % 33) * 18 + Math.floor(i / 33)] = plane.data[i]!;
    }
    const a = gaussianBlur(plane, 2.5);
    const b = gaussianBlur(turned, 2.5);
    for (let i = 0; i < a.data.length; i++) {
      expect(Math.abs(a.data[i]! - b.data[(i % 33) * 18 + Math.floor(i / 33)]!)).toBeLessThan(1e-6);
    }
  });

  it('gives a copy for a sigma of 0 and refuses what is no width', () => {
    const plane = noise(5, 4, 'copy');
    const copy = gaussianBlur(plane, 0);
    expect(copy.data).toEqual(plane.data);
    expect(copy.data).not.toBe(plane.data);
    expect(() => gaussianBlur(plane, -1)).toThrow('sigmaPx must be finite and >= 0, got -1');
    expect(() => gaussianBlur(plane, Number.NaN)).toThrow(RangeError);
  });
});
