import { expect, test } from 'vitest';
import { UsageError } from '../job/errors.js';
import { airIndexMinusOne, CHANNEL_NM, dispersionArcsec } from './dispersion.js';

// Published: Ciddor 1996, table 1: dry air with 450 ppm of carbon dioxide at 633 nm, (n - 1) 1e8.
test('the index of air is the published one', () => {
  for (const [temperatureC, pressureHpa, expected] of [
    [20, 800, 21458.0],
    [20, 1000, 26824.4],
    [10, 1000, 27774.7],
    [30, 1000, 25937.2],
  ] as const) {
    const index = airIndexMinusOne(633, { pressureHpa, temperatureC }) * 1e8;
    expect(Math.abs(index - expected), `${temperatureC} ${pressureHpa}`).toBeLessThan(0.2);
  }
});

test('bluer light is raised more, by the known amounts at sea level', () => {
  const air = { pressureHpa: 1013.25, temperatureC: 10 };
  // Between 610 and 460 nm: 4.0" at 10°, 1.9" at 20°, 1.2" at 30°, 0.7" at 45°.
  for (const [altitudeDeg, expected] of [
    [10, 4.0],
    [20, 1.9],
    [30, 1.2],
    [45, 0.7],
  ] as const) {
    const spread = dispersionArcsec(altitudeDeg, air, CHANNEL_NM.blue, CHANNEL_NM.red);
    expect(Math.abs(spread - expected), `${altitudeDeg}`).toBeLessThan(0.1);
    expect(dispersionArcsec(altitudeDeg, air, CHANNEL_NM.red, CHANNEL_NM.blue)).toBeCloseTo(-spread, 12);
  }
});

test('what cannot be is refused', () => {
  expect(() => airIndexMinusOne(0.55, { pressureHpa: 1000, temperatureC: 10 })).toThrow(UsageError);
  expect(() => airIndexMinusOne(0.55, { pressureHpa: 1000, temperatureC: 10 })).toThrow(/wavelengthNm is 0.55/);
});
