import { expect, test } from 'vitest';
import { UsageError } from '../job/errors.js';
import { airmass, extinctionPerAirmass, transmission } from './extinction.js';

// The formula's well-known values: just under 38 on the horizon.
test('the air mass is the known one', () => {
  expect(airmass(0)).toBeCloseTo(37.92, 2);
  expect(airmass(5)).toBeCloseTo(10.31, 1);
  expect(airmass(10)).toBeCloseTo(5.58, 1);
  expect(airmass(30)).toBeCloseTo(1.994, 2);
  expect(airmass(90)).toBeCloseTo(1, 3);
});

test('extinction on a mountain is the known one', () => {
  for (const [nm, expected] of [
    [440, 0.27],
    [540, 0.16],
    [650, 0.09],
  ] as const) {
    expect(Math.abs(extinctionPerAirmass(nm, 2000) - expected), `${nm}`).toBeLessThan(0.03);
  }
});

test('light falls by 0.4 k X magnitudes, more in the blue and lower down', () => {
  expect(-2.5 * Math.log10(transmission(25, 540, 800))).toBeCloseTo(extinctionPerAirmass(540, 800) * airmass(25), 12);
  expect(transmission(10, 460, 0)).toBeLessThan(transmission(10, 610, 0));
  expect(transmission(10, 460, 0)).toBeLessThan(transmission(10, 460, 3000));
});

test('what cannot be is refused', () => {
  for (const call of [() => airmass(-0.1), () => extinctionPerAirmass(2000, 0), () => extinctionPerAirmass(550, 1e5)]) {
    expect(call).toThrow(UsageError);
    expect(call).toThrow(/give a number from/);
  }
});
