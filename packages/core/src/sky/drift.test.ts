import fc from 'fast-check';
import { expect, test } from 'vitest';
import { UsageError } from '../job/errors.js';
import { ARCSEC, addScaled, cross, DEG, dot, scaled, unit, type Vec3 } from './angles.js';
import { drift, sagittaArcsec } from './drift.js';
import { ephemeris } from './ephemeris.js';
import type { Air, Site, SkyBody } from './types.js';

const site: Site = { latitudeDeg: 34.2, longitudeDeg: -118.1, heightM: 1700 };
const AIR: Air = { pressureHpa: 830, temperatureC: 12 };

/** Where a body is seen over the horizon (east, north, up), with west and north of space 5 there. */
function seen(body: SkyBody, date: Date, place: Site, air?: Air) {
  const { azimuthDeg, apparentAltitudeDeg, parallacticAngleDeg } = ephemeris(body, date, place, air);
  const [azimuth, altitude, q] = [azimuthDeg * DEG, apparentAltitudeDeg * DEG, parallacticAngleDeg * DEG];
  const level: Vec3 = [Math.sin(azimuth), Math.cos(azimuth), 0];
  const direction = addScaled(scaled(level, Math.cos(altitude)), [0, 0, 1], Math.sin(altitude));
  const right = cross(level, [0, 0, 1]);
  const up = cross(right, direction);
  const west = addScaled(scaled(right, Math.cos(q)), up, -Math.sin(q));
  return { direction, west, north: addScaled(scaled(right, Math.sin(q)), up, Math.cos(q)) };
}

/** Velocity, turn of north and acceleration from places alone, arcseconds, degrees and seconds. */
function differenced(body: SkyBody, date: Date, place: Site, air?: Air) {
  const step = 20;
  const [before, here, after] = [-step, 0, step].map((s) =>
    seen(body, new Date(date.getTime() + 1000 * s), place, air),
  );
  const slope = (axis: Vec3, a: Vec3, b: Vec3) => (dot(b, axis) - dot(a, axis)) / (2 * step);
  const bend = (axis: Vec3) =>
    (dot(after!.direction, axis) + dot(before!.direction, axis) - 2 * dot(here!.direction, axis)) / step ** 2;
  return {
    west: slope(here!.west, before!.direction, after!.direction) * ARCSEC,
    north: slope(here!.north, before!.direction, after!.direction) * ARCSEC,
    // North that turns to the east leaves the west behind.
    rotation: -slope(here!.west, before!.north, after!.north) / DEG,
    westBend: bend(here!.west) * ARCSEC,
    northBend: bend(here!.north) * ARCSEC,
  };
}

const anywhere = fc.record({
  latitudeDeg: fc.double({ min: -65, max: 65, noNaN: true }),
  longitudeDeg: fc.double({ min: -180, max: 180, noNaN: true }),
  heightM: fc.double({ min: 0, max: 5000, noNaN: true }),
});
const anytime = fc.date({ min: new Date('1990-01-01'), max: new Date('2050-01-01'), noInvalidDate: true });

test('velocity, turn and bend are the derivatives of the place that is seen, with and without air', () => {
  let compared = 0;
  fc.assert(
    fc.property(
      anywhere,
      anytime,
      fc.constantFrom<SkyBody>('Moon', 'Moon', 'Sun', 'Jupiter', 'Venus'),
      fc.boolean(),
      (place, date, body, withAir) => {
        const air = withAir ? AIR : undefined;
        const { altitudeDeg } = ephemeris(body, date, place);
        // The formula of refraction has a corner 1° below the horizon; near the zenith the vertical turns in no time.
        if (altitudeDeg > 88 || altitudeDeg < (withAir ? 2 : -88)) return;
        compared++;
        const motion = drift(body, date, place, air);
        const truth = differenced(body, date, place, air);
        const error = Math.hypot(motion.westArcsecPerS - truth.west, motion.northArcsecPerS - truth.north);
        expect(error / motion.speedArcsecPerS).toBeLessThan(2e-5);
        expect(Math.abs(motion.fieldRotationDegPerS - truth.rotation)).toBeLessThan((2e-5 * 15) / 3600);
        const { west, north, westBend, northBend } = truth;
        const bend = (west * northBend - north * westBend) / Math.hypot(west, north) ** 3;
        expect(Math.abs(motion.curvaturePerArcsec - bend) * ARCSEC).toBeLessThan(2e-4 * (1 + Math.abs(bend) * ARCSEC));
      },
    ),
    { seed: 11, numRuns: 400 },
  );
  expect(compared).toBeGreaterThan(200);
});

test('without air it is the diurnal rate less the own motion, turning by the sine of the declination', () => {
  const date = new Date('2026-03-27T04:00:00Z');
  const moon = ephemeris('Moon', date, site);
  const motion = drift('Moon', date, site);
  const later = ephemeris('Moon', new Date(date.getTime() + 60_000), site);
  const own = ((later.rightAscensionDeg - moon.rightAscensionDeg) * 3600) / 60;
  const declination = moon.declinationDeg * DEG;
  expect(motion.westArcsecPerS).toBeCloseTo((15.041067 - own) * Math.cos(declination), 3);
  expect(motion.northArcsecPerS).toBeCloseTo(((later.declinationDeg - moon.declinationDeg) * 3600) / 60, 3);
  expect(motion.fieldRotationDegPerS * 3600).toBeCloseTo((15.041067 - own) * Math.sin(declination), 3);
  expect(motion).toMatchObject({ verticalScale: 1, horizontalScale: 1, verticalScalePerS: 0 });
});

test('the path over half a degree is an arc whose sagitta is θ² tan δ / 8, towards the pole', () => {
  for (const [day, sign] of [
    ['2025-03-07', 1],
    ['2025-03-21', -1],
  ] as const) {
    const date = new Date(`${day}T09:00:00Z`);
    const { declinationDeg } = ephemeris('Moon', date, site);
    expect(Math.sign(declinationDeg)).toBe(sign);
    const expected = ((1800 ** 2 / ARCSEC) * Math.tan(declinationDeg * DEG)) / 8;
    // The Moon's own motion along a tilted path and parallax bend it by some per cent.
    expect(Math.abs(sagittaArcsec(drift('Moon', date, site), 1800) / expected - 1)).toBeLessThan(0.08);
  }
});

test('the body turns by the field and by the change of its axis', () => {
  const date = new Date('2025-03-07T09:00:00Z');
  const motion = drift('Moon', date, site, AIR);
  const axes = [-600, 600].map((s) => ephemeris('Moon', new Date(date.getTime() + 1000 * s), site).frame!);
  const turn = (axes[1]!.axisPositionAngleDeg - axes[0]!.axisPositionAngleDeg) / 1200;
  expect(Math.abs(turn)).toBeGreaterThan(1e-6);
  expect(Math.abs(motion.bodyRotationDegPerS! - motion.fieldRotationDegPerS - turn)).toBeLessThan(1e-8);
  expect(drift('Mars', date, site).bodyRotationDegPerS).toBe(null);
});

test('an upright Moon seen with air is flattened, more so the lower it stands', () => {
  const rising = new Date('2025-03-07T19:30:00Z');
  let checked = 0;
  for (let minutes = 0; minutes < 600; minutes += 30) {
    const date = new Date(rising.getTime() + 60_000 * minutes);
    const { altitudeDeg } = ephemeris('Moon', date, site, AIR);
    if (altitudeDeg < 3) continue;
    checked++;
    const motion = drift('Moon', date, site, AIR);
    expect(motion.verticalScale).toBeLessThan(1);
    expect(motion.horizontalScale).toBeLessThan(1);
    const soon = drift('Moon', new Date(date.getTime() + 30_000), site, AIR);
    const before = drift('Moon', new Date(date.getTime() - 30_000), site, AIR);
    expect(motion.verticalScalePerS).toBeCloseTo((soon.verticalScale - before.verticalScale) / 60, 12);
  }
  expect(checked).toBeGreaterThan(5);
});

test('directions of the test itself: north and west stand on each other and on the line of sight', () => {
  const { direction, west, north } = seen('Moon', new Date('2025-03-07T09:00:00Z'), site, AIR);
  for (const value of [dot(west, north), dot(west, direction), dot(north, direction)]) {
    expect(Math.abs(value)).toBeLessThan(1e-15);
  }
  expect(dot(unit(west), west)).toBeCloseTo(1, 14);
});

test('what cannot be is refused', () => {
  expect(() => drift('Moon', new Date(Number.NaN), site)).toThrow(UsageError);
  expect(() => drift('Moon', new Date('2025-03-07'), { ...site, latitudeDeg: 100 })).toThrow(/latitudeDeg is 100/);
});
