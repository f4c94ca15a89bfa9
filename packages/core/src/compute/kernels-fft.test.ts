import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { createComplexField, fft2 } from './fft.js';
import { createPlane, type Plane } from './image.js';
import { forwardSpectrum, inverseSpectrum } from './kernels-fft.js';
import { isFftLength, nextFftLength } from './kernels-fft-plan.js';
import { createRandom } from './random.js';

function noise(width: number, height: number, seed: number): Plane {
  const random = createRandom(seed);
  const plane = createPlane(width, height);
  for (let i = 0; i < plane.data.length; i++) plane.data[i] = random.normal();
  return plane;
}

/** Largest distance between our half spectrum and the reference, over the root of the mean square. */
function errorOf(plane: Plane, width: number, height: number, at: (x: number, y: number) => [number, number]): number {
  const { re, im } = forwardSpectrum(plane, width, height);
  let worst = 0;
  let power = 0;
  for (let y = 0; y < height; y++) {
    for (let x = 0; x <= width / 2; x++) {
      const [r, i] = at(x, y);
      const k = y * (width / 2 + 1) + x;
      worst = Math.max(worst, Math.hypot(re[k]! - r, im[k]! - i));
      power += r * r + i * i;
    }
  }
  return worst / Math.sqrt(power / re.length);
}

const LENGTHS = Array.from({ length: 145 }, (_, i) => i + 16).filter((n) => isFftLength(n, false));
const even = fc.constantFrom(...LENGTHS.filter((n) => n % 2 === 0));
const any = fc.constantFrom(...LENGTHS);

describe('forwardSpectrum', () => {
  test('agrees with the double-precision transform on powers of two', () => {
    for (const [width, height] of [
      [16, 16],
      [64, 32],
      [32, 128],
      [512, 256],
    ] as const) {
      const plane = noise(width, height, width + height);
      const field = createComplexField(width, height);
      field.re.set(plane.data);
      fft2(field, 'forward');
      // Float32 rounding in every one of some 20 additions: measured up to 7e-7.
      const at = (x: number, y: number): [number, number] => [field.re[y * width + x]!, field.im[y * width + x]!];
      expect(errorOf(plane, width, height, at)).toBeLessThan(2e-6);
    }
  });

  test('agrees with the sums that define it for products of 2, 3 and 5, padded with zeros', () => {
    fc.assert(
      fc.property(even, any, fc.integer(), fc.double({ min: 0.1, max: 1 }), (width, height, seed, part) => {
        const plane = noise(Math.ceil(width * part), Math.ceil(height * part), seed);
        const at = sumsOf(plane, width, height);
        expect(errorOf(plane, width, height, at)).toBeLessThan(2e-6);
      }),
      { seed: 7, numRuns: 25 },
    );
  });

  test('refuses sizes that it cannot transform, and pictures that do not fit', () => {
    const expected = 'FFT sides must be products of 2, 3 and 5 from 16 on, the width even, got';
    expect(() => forwardSpectrum(noise(28, 16, 1))).toThrow(`${expected} 28 x 16`);
    expect(() => forwardSpectrum(noise(45, 16, 1))).toThrow(`${expected} 45 x 16`);
    expect(() => forwardSpectrum(noise(16, 8, 1))).toThrow(RangeError);
    expect(() => forwardSpectrum(noise(20, 20, 1), 16, 32)).toThrow('a picture of 20 x 20 does not fit');
  });
});

describe('inverseSpectrum', () => {
  test('undoes the forward transform, for any size', () => {
    fc.assert(
      fc.property(even, any, fc.integer(), (width, height, seed) => {
        const plane = noise(width, height, seed);
        const back = inverseSpectrum(forwardSpectrum(plane));
        let worst = 0;
        for (let i = 0; i < plane.data.length; i++) worst = Math.max(worst, Math.abs(plane.data[i]! - back.data[i]!));
        // Values of order 1 up to 5, rounding as above.
        expect(worst).toBeLessThan(4e-6);
      }),
      { seed: 7, numRuns: 60 },
    );
  });

  test('gives the same bits every time', () => {
    const plane = noise(120, 90, 5);
    const once = inverseSpectrum(forwardSpectrum(plane)).data;
    expect(inverseSpectrum(forwardSpectrum(plane)).data).toEqual(once);
  });
});

test('nextFftLength finds the next even product of 2, 3 and 5', () => {
  expect([1, 17, 97, 1025, 1921, 2048].map(nextFftLength)).toEqual([16, 18, 100, 1080, 1944, 2048]);
});

/** The transform by its definition, rows first. */
function sumsOf({ width: w, height: h, data }: Plane, width: number, height: number) {
  const rows = new Float64Array((width / 2 + 1) * h * 2);
  for (let y = 0; y < h; y++) {
    for (let k = 0; k <= width / 2; k++) {
      for (let x = 0; x < w; x++) {
        const phase = (-2 * Math.PI * ((k * x) % width)) / width;
        rows[2 * (y * (width / 2 + 1) + k)]! += data[y * w + x]! * Math.cos(phase);
        rows[2 * (y * (width / 2 + 1) + k) + 1]! += data[y * w + x]! * Math.sin(phase);
      }
    }
  }
  return (k: number, l: number): [number, number] => {
    let re = 0;
    let im = 0;
    for (let y = 0; y < h; y++) {
      const phase = (-2 * Math.PI * ((l * y) % height)) / height;
      const r = rows[2 * (y * (width / 2 + 1) + k)]!;
      const i = rows[2 * (y * (width / 2 + 1) + k) + 1]!;
      re += r * Math.cos(phase) - i * Math.sin(phase);
      im += r * Math.sin(phase) + i * Math.cos(phase);
    }
    return [re, im];
  };
}
