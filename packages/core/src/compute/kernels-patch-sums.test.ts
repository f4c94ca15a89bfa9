import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { createPlane, type Plane } from './image.js';
import { withKernels } from './kernels.js';
import { patchSummer } from './kernels-patch-sums.js';
import type { PoseSums } from './kernels-pose-sums.js';
import { createRandom } from './random.js';
import { cubicAt } from './sample.js';

const [WIDTH, HEIGHT] = [150, 120];

function noise(seed: number): Plane {
  const random = createRandom(seed);
  const plane = createPlane(WIDTH, HEIGHT);
  for (let i = 0; i < plane.data.length; i++) plane.data[i] = random.normal();
  return plane;
}

type Where = readonly [left: number, top: number, dx: number, dy: number];

function sumsOf(seed: number, sizePx: number, stridePx: number, at: Where, cover = all): PoseSums | undefined {
  return withKernels((scope) => {
    const [fixed, moving] = [scope.put(noise(seed).data), scope.put(noise(seed + 1).data)];
    const pictures = { width: WIDTH, height: HEIGHT, fixed, cover: scope.put(cover), moving };
    return patchSummer(scope, pictures, sizePx, stridePx)(...at);
  });
}

/** The same in double precision: products of all pairs of terms, 5 × 5. */
function plainSums(seed: number, sizePx: number, stridePx: number, [left, top, dx, dy]: Where): Float64Array {
  const [fixed, moving] = [noise(seed), noise(seed + 1)];
  const at = (x: number, y: number) => cubicAt(fixed.data, WIDTH, HEIGHT, x, y);
  const slope = (of: (k: number) => number, place: number) => {
    const k = Math.floor(place);
    return ((1 - place + k) * (of(k + 1) - of(k - 1)) + (place - k) * (of(k + 2) - of(k))) / 2;
  };
  const window = (k: number) => 1 - (k / (sizePx / 2) - 1) ** 2;
  const out = new Float64Array(25);
  for (let j = 0; j < sizePx; j += stridePx) {
    for (let i = 0; i < sizePx; i += stridePx) {
      const [x, y] = [left + i + dx, top + j + dy];
      const gx = slope((k) => at(k, y), x);
      const gy = slope((k) => at(x, k), y);
      const terms = [gx, gy, -moving.data[(top + j) * WIDTH + left + i]!, -1, at(x, y)];
      for (let k = 0; k < 25; k++) out[k]! += window(i) * window(j) * terms[Math.floor(k / 5)]! * terms[k % 5]!;
    }
  }
  return out;
}

const all = new Float32Array(WIDTH * HEIGHT).fill(1);

describe('patchSummer', () => {
  test('gives the sums of double precision', () => {
    const shift = fc.double({ min: -6, max: 6, noNaN: true });
    const place = fc.tuple(fc.integer({ min: 8, max: 70 }), fc.integer({ min: 8, max: 40 }), shift, shift);
    fc.assert(
      fc.property(fc.integer(), fc.constantFrom(40, 64), fc.constantFrom(1, 2), place, (seed, size, stride, at) => {
        const ours = sumsOf(seed, size, stride, at)!;
        const plain = plainSums(seed, size, stride, at);
        expect(ours.samples).toBe((size / stride - 1) ** 2);
        // Sums of some thousand terms of order 1, in single precision along a row.
        const near = 1e-5 * plain[24]!;
        for (let p = 0; p < 4; p++) {
          for (let q = 0; q < 4; q++) {
            expect(Math.abs(ours.normal[4 * p + q]! - plain[5 * p + q]!)).toBeLessThan(near);
          }
          expect(Math.abs(ours.right[p]! + plain[20 + p]!)).toBeLessThan(near);
        }
        expect(Math.abs(ours.fixedSquares - plain[24]!)).toBeLessThan(near);
        expect(Math.abs(ours.weight - plain[18]!)).toBeLessThan(near);
      }),
      { seed: 5, numRuns: 40 },
    );
  });

  test('gives nothing where a sample is not covered', () => {
    for (const [x, y, isTouched] of [
      [12, 12, true],
      [51, 40, true],
      [51, 51, true],
      [11, 12, false],
      [52, 51, false],
      [20, 11, false],
      [20, 52, false],
    ] as const) {
      const cover = all.slice();
      cover[y * WIDTH + x] = 0;
      // Samples that weigh anything fall on 12.4 … 50.4 and 12.7 … 50.7.
      expect(sumsOf(1, 40, 1, [9, 10, 2.4, 1.7], cover) === undefined).toBe(isTouched);
    }
  });

  test('gives nothing at the border, and knows its sizes', () => {
    const at = (left: number, top: number) => sumsOf(1, 40, 2, [left, top, 0, 0]);
    expect(at(1, 1)).toBeDefined();
    expect(at(0, 1)).toBeUndefined();
    expect(at(1, 0)).toBeUndefined();
    expect(at(WIDTH - 41, 20)).toBeDefined();
    expect(at(WIDTH - 40, 20)).toBeUndefined();
    expect(at(20, HEIGHT - 40)).toBeUndefined();
    expect(() => sumsOf(1, 36, 2, [9, 9, 0, 0])).toThrow('no patches of 36 px with a stride of 2 px');
    expect(() => sumsOf(1, 60, 3, [9, 9, 0, 0])).toThrow(RangeError);
  });
});
