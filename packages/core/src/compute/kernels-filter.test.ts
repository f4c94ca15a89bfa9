import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { plainBin, plainBlur, plainGradient } from '../../test/plain-kernels.js';
import { createPlane, type Plane } from './image.js';
import { withKernels } from './kernels.js';
import {
  binWithKernels,
  blurWithKernels,
  gradientWithKernels,
  holdBlurred,
  holdWideBlurred,
} from './kernels-filter.js';
import { createRandom } from './random.js';

function noise(width: number, height: number, seed: number): Plane {
  const random = createRandom(seed);
  const plane = createPlane(width, height);
  for (let i = 0; i < plane.data.length; i++) plane.data[i] = random.normal();
  return plane;
}

function worst(a: Float32Array, b: Float32Array): number {
  expect(a.length).toBe(b.length);
  let most = 0;
  for (let i = 0; i < a.length; i++) most = Math.max(most, Math.abs(a[i]! - b[i]!));
  return most;
}

const size = fc.integer({ min: 1, max: 70 });
const seed = fc.integer();

describe('blurWithKernels', () => {
  test('agrees with the plain Gaussian for any size, borders included', () => {
    fc.assert(
      fc.property(size, size, fc.double({ min: 0.3, max: 30, noNaN: true }), seed, (width, height, sigmaPx, s) => {
        const plane = noise(width, height, s);
        // Values of order 1 up to 5: a few roundings of 3e-7.
        expect(worst(blurWithKernels(plane, sigmaPx).data, plainBlur(plane, sigmaPx).data)).toBeLessThan(2e-6);
      }),
      { seed: 7, numRuns: 80 },
    );
  });

  test('keeps a constant to the bit, and the input as it is', () => {
    const plane = createPlane(37, 20);
    plane.data.fill(0.7);
    expect(worst(blurWithKernels(plane, 9.3).data, plane.data)).toBe(0);
    expect(plane.data.every((v) => v === Math.fround(0.7))).toBe(true);
  });

  test('gives a copy for a sigma of 0 and refuses what is no width', () => {
    const plane = noise(9, 5, 3);
    expect(blurWithKernels(plane, 0).data).toEqual(plane.data);
    expect(() => blurWithKernels(plane, -1)).toThrow('sigmaPx must be finite and >= 0, got -1');
    expect(() => blurWithKernels(plane, Number.NaN)).toThrow(RangeError);
  });

  test('works on what is held, with the same bits', () => {
    const plane = noise(61, 43, 4);
    const held = withKernels((scope) => {
      const blurred = holdBlurred(scope, { ...plane, data: scope.put(plane.data) }, 2);
      return scope.get(blurred.data);
    });
    expect(held).toEqual(blurWithKernels(plane, 2).data);
  });
});

describe('binWithKernels', () => {
  test('agrees with the plain means for any size', () => {
    fc.assert(
      fc.property(size, size, fc.constantFrom(1, 2, 4, 8), seed, (width, height, factor, s) => {
        const plane = noise(width, height, s);
        const binned = binWithKernels(plane, factor);
        const plain = plainBin(plane, factor);
        expect([binned.width, binned.height]).toEqual([plain.width, plain.height]);
        expect(worst(binned.data, plain.data)).toBeLessThan(6e-7);
      }),
      { seed: 7, numRuns: 80 },
    );
  });

  test('refuses factors that are no powers of two', () => {
    expect(() => binWithKernels(noise(9, 9, 1), 3)).toThrow('the kernels bin by powers of two, got 3');
  });
});

describe('holdWideBlurred', () => {
  const wide = (plane: Plane, sigmaPx: number): Float32Array =>
    withKernels((scope) => scope.get(holdWideBlurred(scope, plane, sigmaPx).data));

  test('gives the energy of noise as the blur on the full grid does', () => {
    for (const [width, height, sigmaPx] of [
      [151, 118, 12],
      [300, 211, 24],
      [160, 160, 48],
    ] as const) {
      const plane = noise(width, height, width);
      for (let i = 0; i < plane.data.length; i++) plane.data[i]! **= 2;
      const full = blurWithKernels(plane, sigmaPx).data;
      const ours = wide(plane, sigmaPx);
      expect(ours).not.toEqual(full);
      // Around 1 the blur leaves noise of √2 / (2·√π·σ). At worst, in a corner, the two differ by 0.9 to 1.9 times that.
      expect(worst(ours, full)).toBeLessThan((2.5 * 0.4) / sigmaPx);
    }
  });

  test('is the blur on the full grid where that is not wide', () => {
    const plane = noise(61, 43, 4);
    expect(wide(plane, 8)).toEqual(blurWithKernels(plane, 8).data);
  });

  test('keeps a constant to the bit at any size', () => {
    fc.assert(
      fc.property(size, size, fc.double({ min: 0.3, max: 60, noNaN: true }), (width, height, sigmaPx) => {
        const plane = createPlane(width, height);
        plane.data.fill(0.7);
        expect(worst(wide(plane, sigmaPx), plane.data)).toBe(0);
      }),
      { seed: 8, numRuns: 80 },
    );
  });

  test('puts light where it was', () => {
    const plane = createPlane(201, 201);
    // A block of the coarser grid: less than that is moved to its centre.
    for (let i = 0; i < 16; i++) plane.data[(100 + (i >> 2)) * 201 + 88 + (i & 3)] = 1 / 16;
    const out = wide(plane, 24);
    let [sum, x, y] = [0, 0, 0];
    out.forEach((v, i) => {
      sum += v;
      x += v * (i % 201);
      y += v * Math.floor(i / 201);
    });
    expect(sum).toBeCloseTo(1, 3);
    expect([x / sum - 89.5, y / sum - 101.5].map(Math.abs).every((off) => off < 0.01)).toBe(true);
  });
});

describe('gradientWithKernels', () => {
  test('gives what the plain differences give, for any size', () => {
    fc.assert(
      fc.property(size, size, seed, (width, height, s) => {
        const plane = noise(width, height, s);
        const ours = gradientWithKernels(plane);
        const plain = plainGradient(plane);
        expect(worst(ours.x, plain.x)).toBeLessThan(6e-7);
        expect(worst(ours.y, plain.y)).toBeLessThan(6e-7);
      }),
      { seed: 7, numRuns: 80 },
    );
  });
});
