import fc from 'fast-check';
import { expect, test } from 'vitest';
import { UsageError } from '../job/errors.js';
import { ARCSEC, addScaled, angleDeg, cross, DEG, dot, fromSphere, lengthOf, signedDeg } from './angles.js';
import { type BodyFrame, bodyToSky, limbRadiusArcsec, skyToBody, sunAltitudeAtDeg } from './body-frame.js';
import { ephemeris } from './ephemeris.js';

const frames = fc.record({
  radiusKm: fc.constant(1737.4),
  distanceKm: fc.double({ min: 350_000, max: 410_000, noNaN: true }),
  subObserver: fc.record({
    longitudeDeg: fc.double({ min: -9, max: 9, noNaN: true }),
    latitudeDeg: fc.double({ min: -8, max: 8, noNaN: true }),
  }),
  subSolar: fc.record({
    longitudeDeg: fc.double({ min: -180, max: 180, noNaN: true }),
    latitudeDeg: fc.double({ min: -1.6, max: 1.6, noNaN: true }),
  }),
  axisPositionAngleDeg: fc.double({ min: 0, max: 360, noNaN: true }),
});
const points = fc.record({
  longitudeDeg: fc.double({ min: -180, max: 180, noNaN: true }),
  latitudeDeg: fc.double({ min: -89, max: 89, noNaN: true }),
});
const site = { latitudeDeg: -24.6, longitudeDeg: -70.4, heightM: 2635 };
const date = new Date('2026-02-26T01:00:00Z');
const frame = ephemeris('Moon', date, site).frame!;

test('visible points come back from the sky to a billionth of a degree', () => {
  let returned = 0;
  fc.assert(
    fc.property(frames, points, (any, point) => {
      const place = bodyToSky(any, point);
      // At the limb itself the sight grazes the ground.
      if (place.fromCentreDeg > 88) return;
      returned++;
      expect(place.visible).toBe(true);
      const back = skyToBody(any, place)!;
      expect(Math.abs(back.latitudeDeg - point.latitudeDeg)).toBeLessThan(1e-9);
      const across = signedDeg(back.longitudeDeg - point.longitudeDeg) * Math.cos(point.latitudeDeg * DEG);
      expect(Math.abs(across)).toBeLessThan(1e-9);
    }),
    { seed: 3, numRuns: 1000 },
  );
  expect(returned).toBeGreaterThan(300);
});

test('places on the disc come back from the body, and off the disc there is none', () => {
  const share = fc.double({ min: 0, max: 0.9999, noNaN: true });
  const turn = fc.double({ min: 0, max: 6.283, noNaN: true });
  fc.assert(
    fc.property(frames, share, turn, (any, part, angle) => {
      const radius = limbRadiusArcsec(any);
      const place = { xArcsec: radius * part * Math.cos(angle), yArcsec: radius * part * Math.sin(angle) };
      const back = bodyToSky(any, skyToBody(any, place)!);
      expect(Math.abs(back.xArcsec - place.xArcsec)).toBeLessThan(1e-9);
      expect(Math.abs(back.yArcsec - place.yArcsec)).toBeLessThan(1e-9);
      const outside = { xArcsec: 1.000001 * radius * Math.cos(angle), yArcsec: 1.000001 * radius * Math.sin(angle) };
      expect(skyToBody(any, outside)).toBe(null);
    }),
    { seed: 4, numRuns: 500 },
  );
});

test('is what vectors in space give', () => {
  fc.assert(
    fc.property(frames, points, (any, point) => {
      // Body axes; the observer stands over the sub-observer point.
      const toObserver = fromSphere(any.subObserver.longitudeDeg, any.subObserver.latitudeDeg);
      const surface = fromSphere(point.longitudeDeg, point.latitudeDeg);
      const sight = addScaled([0, 0, 0], surface, any.radiusKm);
      const line = addScaled(sight, toObserver, -any.distanceKm);
      // Seen with the body's north up, its east is to the right, where west is on the sky.
      const right = cross([0, 0, 1], toObserver);
      const east = addScaled([0, 0, 0], right, 1 / lengthOf(right));
      const north = cross(toObserver, east);
      const depth = -dot(line, toObserver);
      const axis = any.axisPositionAngleDeg * DEG;
      const [x, y] = [dot(line, east) / depth, dot(line, north) / depth];
      const place = bodyToSky(any, point);
      expect(place.xArcsec).toBeCloseTo(ARCSEC * (x * Math.cos(axis) - y * Math.sin(axis)), 8);
      expect(place.yArcsec).toBeCloseTo(ARCSEC * (x * Math.sin(axis) + y * Math.cos(axis)), 8);
      expect(place.fromCentreDeg).toBeCloseTo(angleDeg(surface, toObserver), 9);
      // Seen when the ground at the point faces the observer.
      expect(place.visible).toBe(dot(line, surface) < 0);
    }),
    { seed: 8, numRuns: 500 },
  );
});

test('the limb is where sight grazes, and the view is no orthographic one', () => {
  const radius = limbRadiusArcsec(frame);
  expect(Math.abs(radius - ephemeris('Moon', date, site).angularDiameterArcsec / 2)).toBeLessThan(0.02);
  const level: BodyFrame = { ...frame, subObserver: { longitudeDeg: 0, latitudeDeg: 0 }, axisPositionAngleDeg: 0 };
  const grazing = Math.acos(frame.radiusKm / frame.distanceKm) / DEG;
  expect(bodyToSky(level, { longitudeDeg: grazing, latitudeDeg: 0 }).xArcsec).toBeCloseTo(radius, 9);
  expect(bodyToSky(level, { longitudeDeg: grazing - 1e-4, latitudeDeg: 0 }).visible).toBe(true);
  expect(bodyToSky(level, { longitudeDeg: grazing + 1e-4, latitudeDeg: 0 }).visible).toBe(false);
  // Up to 0.226 % of the radius inside the orthographic place.
  let largest = 0;
  for (let longitudeDeg = 0; longitudeDeg < 89; longitudeDeg++) {
    const flat = radius * Math.sin(longitudeDeg * DEG);
    largest = Math.max(largest, Math.abs(bodyToSky(level, { longitudeDeg, latitudeDeg: 0 }).xArcsec - flat) / radius);
  }
  expect(largest).toBeGreaterThan(0.0021);
  expect(largest).toBeLessThan(0.0025);
});

test('north is up and Mare Crisium to the right when the axis stands upright, and turns with it', () => {
  const upright: BodyFrame = { ...frame, subObserver: { longitudeDeg: 0, latitudeDeg: 0 }, axisPositionAngleDeg: 0 };
  const crisium = bodyToSky(upright, { longitudeDeg: 59, latitudeDeg: 17 });
  expect(crisium.xArcsec).toBeGreaterThan(600);
  expect(crisium.yArcsec).toBeGreaterThan(200);
  // An axis that points east, to the left, brings what was right to the top.
  const lying = bodyToSky({ ...upright, axisPositionAngleDeg: 90 }, { longitudeDeg: 59, latitudeDeg: 17 });
  expect(lying.xArcsec).toBeCloseTo(-crisium.yArcsec, 9);
  expect(lying.yArcsec).toBeCloseTo(crisium.xArcsec, 9);
});

test('the bright limb of the projected disc lies at its position angle', () => {
  const { phaseAngleDeg, brightLimbPositionAngleDeg } = ephemeris('Moon', date, site);
  const place = bodyToSky(frame, frame.subSolar!);
  expect(Math.abs(place.fromCentreDeg - phaseAngleDeg!)).toBeLessThan(1e-9);
  const angle = Math.atan2(-place.xArcsec, place.yArcsec) / DEG;
  expect(Math.abs(signedDeg(angle - brightLimbPositionAngleDeg!))).toBeLessThan(1e-9);
});

test('the Sun stands in the zenith below it and on the horizon a quarter away', () => {
  const { longitudeDeg, latitudeDeg } = frame.subSolar!;
  expect(sunAltitudeAtDeg(frame, frame.subSolar!)).toBeCloseTo(90, 10);
  const morning = ephemeris('Moon', date, site).terminator!.morningLongitudeDeg;
  expect(sunAltitudeAtDeg(frame, { longitudeDeg: morning, latitudeDeg: 0 })).toBeCloseTo(0, 10);
  expect(sunAltitudeAtDeg(frame, { longitudeDeg: morning + 3, latitudeDeg: 0 })).toBeGreaterThan(2.9);
  expect(sunAltitudeAtDeg(frame, { longitudeDeg: longitudeDeg + 180, latitudeDeg: -latitudeDeg })).toBeCloseTo(-90, 5);
  expect(sunAltitudeAtDeg(ephemeris('Sun', date, site).frame!, { longitudeDeg: 20, latitudeDeg: 5 })).toBe(90);
});

test('what cannot be is refused', () => {
  for (const call of [
    () => bodyToSky(frame, { longitudeDeg: 0, latitudeDeg: 95 }),
    () => bodyToSky({ ...frame, distanceKm: 10 }, { longitudeDeg: 0, latitudeDeg: 0 }),
    () => skyToBody({ ...frame, radiusKm: 0 }, { xArcsec: 0, yArcsec: 0 }),
    () => sunAltitudeAtDeg(frame, { longitudeDeg: Number.NaN, latitudeDeg: 0 }),
  ]) {
    expect(call).toThrow(UsageError);
    expect(call).toThrow(/give a number from/);
  }
});
