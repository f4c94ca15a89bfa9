import fc from 'fast-check';
import { expect, test } from 'vitest';
import { shadedStep } from './shaded-step.js';
import { fitStep, type RadialProfile } from './step-profile.js';

const out = new Float64Array(3);

function shape(t: number, kappa: number): number {
  shadedStep(out, 0, t, kappa);
  return out[0]!;
}

/** Blurred light by plain summation. */
function summed(offset: number, distance: number, blur: number, kappa: number): number {
  let sum = 0;
  const fine = 1e-3;
  for (let depth = fine / 2; depth < offset - distance + 8 * blur; depth += fine) {
    const light = kappa < 0 ? 1 - kappa * Math.sqrt(depth) : 1 / (1 + kappa * Math.sqrt(depth));
    sum += light * Math.exp(-(((offset - distance - depth) / blur) ** 2) / 2);
  }
  return (sum * fine) / (blur * Math.sqrt(2 * Math.PI));
}

function profileOf(offset: number, blur: number, kappa: number): RadialProfile {
  const distance = Float64Array.from({ length: 80 }, (_, k) => -10 + k / 4);
  const value = distance.map((d) => 0.1 + 0.4 * summed(offset, d, blur, kappa));
  return { distance, value, count: new Float64Array(80).fill(10) };
}

test('without shading the step is the normal distribution', () => {
  expect(shape(0, 0)).toBeCloseTo(0.5, 4);
  expect(shape(1, 0)).toBeCloseTo(0.841345, 4);
  expect(shape(-20, 0.3)).toBe(0);
  expect(shape(50, 0)).toBeCloseTo(1, 12);
});

test('the table agrees with plain summation and joins its far end smoothly', () => {
  for (const kappa of [-0.7, -0.11, 0.03, 0.42, 1.3]) {
    for (const t of [-2, -0.5, 0, 0.77, 3, 5.9]) {
      expect(Math.abs(shape(t, kappa) - summed(t, 0, 1, kappa))).toBeLessThan(5e-4);
    }
    expect(Math.abs(shape(5.999, kappa) - shape(6.001, kappa))).toBeLessThan(1e-3);
  }
});

test('a shaded step is found where it is', () => {
  fc.assert(
    fc.property(
      fc.double({ min: -2, max: 2, noNaN: true }),
      fc.double({ min: 0.8, max: 2, noNaN: true }),
      fc.double({ min: -0.2, max: 0.4, noNaN: true }),
      (offset, blur, kappa) => {
        const fit = fitStep(profileOf(offset, blur, kappa), { offsetPx: 0, blurPx: 1.5, shading: 0 })!;
        // Interpolation in the table leaves 5e-4 of the step, which is less than this over a blur.
        expect(Math.abs(fit.offsetPx - offset)).toBeLessThan(0.01);
        expect(Math.abs(fit.blurPx - blur)).toBeLessThan(0.02);
        expect(Math.abs(fit.sky - 0.1)).toBeLessThan(0.001);
        expect(Math.abs(fit.shading - kappa)).toBeLessThan(0.02);
      },
    ),
    { numRuns: 25, seed: 2 },
  );
});

test('a falling profile is no limb', () => {
  const { distance, value, count } = profileOf(0, 1.3, 0);
  const inverted = { distance, value: value.map((v) => 0.6 - v), count };
  expect(fitStep(inverted, { offsetPx: 0, blurPx: 1.5, shading: 0 })).toBeUndefined();
});
