import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { createComplexField, fft2, nextPowerOfTwo } from './fft.js';
import { createRandom } from './random.js';

function noise(width: number, height: number, seed: number) {
  const field = createComplexField(width, height);
  const random = createRandom(seed);
  for (let i = 0; i < field.re.length; i++) {
    field.re[i] = random.normal();
    field.im[i] = random.normal();
  }
  return field;
}

describe('fft2', () => {
  test('agrees with the sum that defines it', () => {
    const field = noise(8, 4, 1);
    const { re, im } = field;
    const want: [number, number][] = [];
    for (let l = 0; l < 4; l++) {
      for (let k = 0; k < 8; k++) {
        let sr = 0;
        let si = 0;
        for (let y = 0; y < 4; y++) {
          for (let x = 0; x < 8; x++) {
            const phase = -2 * Math.PI * ((k * x) / 8 + (l * y) / 4);
            sr += re[y * 8 + x]! * Math.cos(phase) - im[y * 8 + x]! * Math.sin(phase);
            si += re[y * 8 + x]! * Math.sin(phase) + im[y * 8 + x]! * Math.cos(phase);
          }
        }
        want.push([sr, si]);
      }
    }
    fft2(field, 'forward');
    for (let i = 0; i < want.length; i++) {
      expect(field.re[i]).toBeCloseTo(want[i]![0], 10);
      expect(field.im[i]).toBeCloseTo(want[i]![1], 10);
    }
  });

  test('inverse undoes forward, and energy is kept (Parseval)', () => {
    fc.assert(
      fc.property(fc.integer({ min: 0, max: 7 }), fc.integer({ min: 0, max: 7 }), fc.integer(), (a, b, seed) => {
        const field = noise(2 ** a, 2 ** b, seed);
        const before = Float64Array.from(field.re);
        const energy = field.re.reduce((s, v, i) => s + v * v + field.im[i]! ** 2, 0);
        fft2(field, 'forward');
        const spectral = field.re.reduce((s, v, i) => s + v * v + field.im[i]! ** 2, 0) / field.re.length;
        expect(Math.abs(spectral / energy - 1)).toBeLessThan(1e-10);
        fft2(field, 'inverse');
        for (let i = 0; i < before.length; i++) expect(Math.abs(field.re[i]! - before[i]!)).toBeLessThan(1e-10);
      }),
      { seed: 7, numRuns: 40 },
    );
  });

  test('refuses sides that are no powers of two', () => {
    expect(() => createComplexField(12, 8)).toThrow('FFT sides must be powers of two, got 12 x 8');
    expect(nextPowerOfTwo(1000)).toBe(1024);
  });
});
