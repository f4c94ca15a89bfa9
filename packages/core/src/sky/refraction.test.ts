import fc from 'fast-check';
import { expect, test } from 'vitest';
import { UsageError } from '../job/errors.js';
import {
  apparentAltitudeDeg,
  flatteningArcsec,
  refractionArcmin,
  refractionSlope,
  trueAltitudeDeg,
} from './refraction.js';
import { standardAir } from './types.js';

const BOOK = { pressureHpa: 1010, temperatureC: 10 };

// Published: Meeus, Astronomical Algorithms (1998), example 16.a: a limb seen at 0°30' stands 28.754' lower by Bennett's
// formula; the two formulae agree to 4" (ch. 16). At 0° true altitude 28.98' of Sæmundsson's; at the zenith nothing.
test('published values', () => {
  expect(Math.abs((0.5 - trueAltitudeDeg(0.5, BOOK)) * 60 - 28.754)).toBeLessThan(4 / 60);
  expect(Math.abs(refractionArcmin(0, BOOK) - 28.98)).toBeLessThan(0.02);
  expect(Math.abs(refractionArcmin(90, BOOK))).toBeLessThan(1e-5);
  expect(refractionArcmin(20, undefined)).toBe(0);
});

test('stays within 5" of the formula of Bennett, which goes the other way', () => {
  for (let seen = 1; seen < 90; seen += 1) {
    const bennett = 1 / Math.tan(((seen + 7.31 / (seen + 4.4)) * Math.PI) / 180);
    expect(Math.abs((seen - trueAltitudeDeg(seen, BOOK)) * 60 - bennett), `${seen}`).toBeLessThan(5 / 60);
  }
});

test('goes with the density of the air', () => {
  const thin = refractionArcmin(12, { pressureHpa: 505, temperatureC: 10 });
  expect(thin).toBeCloseTo(refractionArcmin(12, BOOK) / 2, 12);
  const warm = refractionArcmin(12, { pressureHpa: 1010, temperatureC: 40 });
  expect(warm / refractionArcmin(12, BOOK)).toBeCloseTo(283 / 313, 12);
});

test('true and apparent altitude are each other exactly, from horizon to zenith and below', () => {
  const altitude = fc.double({ min: -80, max: 89.9, noNaN: true });
  const pressureHpa = fc.double({ min: 300, max: 1060, noNaN: true });
  const temperatureC = fc.double({ min: -40, max: 45, noNaN: true });
  fc.assert(
    fc.property(altitude, pressureHpa, temperatureC, (altitudeDeg, pressure, temperature) => {
      const air = { pressureHpa: pressure, temperatureC: temperature };
      const back = trueAltitudeDeg(apparentAltitudeDeg(altitudeDeg, air), air);
      expect(Math.abs(back - altitudeDeg)).toBeLessThan(1e-11);
    }),
    { seed: 5 },
  );
});

test('the slope is the derivative', () => {
  for (const altitudeDeg of [-30, -5, -0.9, 0, 0.3, 2, 10, 33, 70, 89]) {
    const step = 1e-4;
    const rise = refractionArcmin(altitudeDeg + step, BOOK) - refractionArcmin(altitudeDeg - step, BOOK);
    expect(refractionSlope(altitudeDeg, BOOK)).toBeCloseTo(rise / 60 / (2 * step), 9);
  }
});

test('the disc of the Moon is flattened by the known amounts', () => {
  // Derived and checked elsewhere: 15.4" at 10°, 4.5" at 20°, 2.2" at 30°, 1.1" at 45°, for a disc of 31.1'.
  for (const [altitudeDeg, expected] of [
    [10, 15.4],
    [20, 4.5],
    [30, 2.2],
    [45, 1.1],
  ] as const) {
    expect(Math.abs(flatteningArcsec(altitudeDeg, 1866, BOOK) - expected), `${altitudeDeg}`).toBeLessThan(0.1);
  }
});

// Published: International Standard Atmosphere, 2000 m: 2.0 °C, 794.95 hPa.
test('the standard atmosphere', () => {
  const air = standardAir(2000);
  expect(air.temperatureC).toBeCloseTo(2, 10);
  expect(Math.abs(air.pressureHpa - 794.95)).toBeLessThan(0.1);
  expect(standardAir(0)).toEqual({ pressureHpa: 1013.25, temperatureC: 15 });
});

test('what cannot be is refused', () => {
  for (const call of [
    () => refractionArcmin(91, BOOK),
    () => trueAltitudeDeg(Number.NaN, BOOK),
    () => refractionArcmin(10, { pressureHpa: 1010, temperatureC: 283 }),
    () => standardAir(20_000),
  ]) {
    expect(call).toThrow(UsageError);
    expect(call).toThrow(/give a number from/);
  }
});
