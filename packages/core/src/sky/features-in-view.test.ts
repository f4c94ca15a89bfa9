import { expect, test } from 'vitest';
import { UsageError } from '../job/errors.js';
import { DEG, signedDeg } from './angles.js';
import { limbRadiusArcsec, skyToBody } from './body-frame.js';
import { ephemeris } from './ephemeris.js';
import { namedFeatures } from './features.js';
import { featuresInView } from './features-in-view.js';

const site = { latitudeDeg: 34.2, longitudeDeg: -118.1, heightM: 1700 };
const date = new Date('2026-03-27T04:00:00Z');
const view = featuresInView(date, site);
const moon = ephemeris('Moon', date, site);

test('shows what is on the near side of the limb and nothing else', () => {
  const radius = limbRadiusArcsec(moon.frame!);
  const { longitudeDeg, latitudeDeg } = moon.frame!.subObserver;
  const seen = new Set(view.map(({ name }) => name));
  let near = 0;
  for (const feature of namedFeatures()) {
    const cosine =
      Math.sin(latitudeDeg * DEG) * Math.sin(feature.latitudeDeg * DEG) +
      Math.cos(latitudeDeg * DEG) *
        Math.cos(feature.latitudeDeg * DEG) *
        Math.cos((feature.longitudeDeg - longitudeDeg) * DEG);
    const visible = cosine > 1737.4 / moon.distanceKm;
    expect(seen.has(feature.name), feature.name).toBe(visible);
    near += Number(visible);
  }
  expect(near).toBeGreaterThan(1500);
  for (const { xArcsec, yArcsec, name } of view) expect(Math.hypot(xArcsec, yArcsec), name).toBeLessThan(radius);
  expect(seen.has('Copernicus')).toBe(true);
  expect(seen.has('Tsiolkovskiy')).toBe(false);
});

test('every place leads back to the feature', () => {
  for (const feature of view.filter(({ fromCentreDeg }) => fromCentreDeg < 88)) {
    const back = skyToBody(moon.frame!, feature)!;
    expect(Math.abs(signedDeg(back.longitudeDeg - feature.longitudeDeg)), feature.name).toBeLessThan(1e-8);
    expect(Math.abs(back.latitudeDeg - feature.latitudeDeg), feature.name).toBeLessThan(1e-8);
  }
});

test('in a waxing Moon what is east of the morning terminator is lit', () => {
  expect(moon.illuminatedFraction!).toBeGreaterThan(0.5);
  const { morningLongitudeDeg } = moon.terminator!;
  let equatorial = 0;
  for (const feature of view) {
    if (Math.abs(feature.latitudeDeg) > 10) continue;
    const east = feature.longitudeDeg - morningLongitudeDeg;
    if (Math.abs(east) < 1) continue;
    equatorial++;
    expect(feature.lit, feature.name).toBe(east > 0);
    // The Sun stands within 1.6 degrees of the equator, and no altitude is further than that from the one it would have there.
    const level = Math.asin(Math.cos(feature.latitudeDeg * DEG) * Math.sin(east * DEG)) / DEG;
    expect(Math.abs(feature.sunAltitudeDeg - level), feature.name).toBeLessThan(1.6);
  }
  expect(equatorial).toBeGreaterThan(200);
});

test('the nearest to the terminator come first; a degree on the ground is 30.3 km', () => {
  const distances = view.map(({ terminatorDeg }) => terminatorDeg);
  expect(distances).toEqual([...distances].sort((a, b) => a - b));
  expect(distances[0]).toBeLessThan(0.1);
  for (const feature of view) {
    expect(feature.lit).toBe(feature.sunAltitudeDeg > 0);
    expect(feature.terminatorDeg).toBe(Math.abs(feature.sunAltitudeDeg));
    expect(feature.terminatorKm / feature.terminatorDeg).toBeCloseTo(30.323, 3);
  }
});

test('small features are left out when asked', () => {
  const large = featuresInView(date, site, 100);
  expect(large).toEqual(view.filter(({ diameterKm }) => diameterKm >= 100));
  expect(large.length).toBeGreaterThan(50);
  expect(() => featuresInView(date, site, -1)).toThrow(UsageError);
  expect(() => featuresInView(date, site, -1)).toThrow(/leastDiameterKm is -1/);
});
