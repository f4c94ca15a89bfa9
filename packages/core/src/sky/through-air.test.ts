import fc from 'fast-check';
import { expect, test } from 'vitest';
import { ARCSEC, DEG } from './angles.js';
import { drift } from './drift.js';
import { ephemeris } from './ephemeris.js';
import { flatteningArcsec, refractionSlope } from './refraction.js';
import { throughAir, withoutAir } from './through-air.js';

const AIR = { pressureHpa: 1010, temperatureC: 10 };
const offset = fc.double({ min: -1500, max: 1500, noNaN: true });
const view = fc.record({
  altitudeDeg: fc.double({ min: 1, max: 89, noNaN: true }),
  parallacticAngleDeg: fc.double({ min: -180, max: 180, noNaN: true }),
});

test('there and back is exact', () => {
  fc.assert(
    fc.property(view, offset, offset, (from, xArcsec, yArcsec) => {
      const back = withoutAir(from, AIR, throughAir(from, AIR, { xArcsec, yArcsec }));
      expect(Math.abs(back.xArcsec - xArcsec)).toBeLessThan(1e-8);
      expect(Math.abs(back.yArcsec - yArcsec)).toBeLessThan(1e-8);
    }),
    { seed: 2, numRuns: 500 },
  );
});

test('the centre stays, the disc is flattened along the vertical and keeps its width but for a trace', () => {
  for (const altitudeDeg of [10, 20, 30, 45]) {
    for (const parallacticAngleDeg of [0, 35, -120]) {
      const from = { altitudeDeg, parallacticAngleDeg };
      const at = (right: number, up: number) => {
        const q = parallacticAngleDeg * DEG;
        const xArcsec = right * Math.cos(q) - up * Math.sin(q);
        return throughAir(from, AIR, { xArcsec, yArcsec: right * Math.sin(q) + up * Math.cos(q) });
      };
      expect(Math.hypot(at(0, 0).xArcsec, at(0, 0).yArcsec)).toBeLessThan(1e-9);
      const [top, bottom, right, left] = [at(0, 933), at(0, -933), at(933, 0), at(-933, 0)];
      const height = Math.hypot(top.xArcsec - bottom.xArcsec, top.yArcsec - bottom.yArcsec);
      expect(Math.abs(1866 - height - flatteningArcsec(altitudeDeg, 1866, AIR))).toBeLessThan(0.02);
      const width = Math.hypot(right.xArcsec - left.xArcsec, right.yArcsec - left.yArcsec);
      expect(1866 - width).toBeGreaterThan(0);
      expect(1866 - width).toBeLessThan(0.6);
    }
  }
});

test('near the centre it is the scales of the drift, along the zenith of the ephemeris', () => {
  const site = { latitudeDeg: 34.2, longitudeDeg: -118.1, heightM: 0 };
  const date = new Date('2025-03-07T20:30:00Z');
  const moon = ephemeris('Moon', date, site, AIR);
  const { verticalScale, horizontalScale } = drift('Moon', date, site, AIR);
  expect(verticalScale).toBe(1 + refractionSlope(moon.altitudeDeg, AIR));
  const q = moon.parallacticAngleDeg * DEG;
  const up = throughAir(moon, AIR, { xArcsec: -Math.sin(q), yArcsec: Math.cos(q) });
  expect(Math.hypot(up.xArcsec, up.yArcsec)).toBeCloseTo(verticalScale, 5);
  expect(Math.atan2(-up.xArcsec, up.yArcsec)).toBeCloseTo(q, 9);
  const right = throughAir(moon, AIR, { xArcsec: Math.cos(q), yArcsec: Math.sin(q) });
  expect(Math.hypot(right.xArcsec, right.yArcsec)).toBeCloseTo(horizontalScale, 8);
});

test('without pressure nothing moves', () => {
  const place = { xArcsec: 321, yArcsec: -745 };
  const moved = throughAir({ altitudeDeg: 12, parallacticAngleDeg: 50 }, { pressureHpa: 0, temperatureC: 10 }, place);
  expect(Math.hypot(moved.xArcsec - place.xArcsec, moved.yArcsec - place.yArcsec)).toBeLessThan(1e-9 * ARCSEC * 1e-3);
});
