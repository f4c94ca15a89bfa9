import { expect, test } from 'vitest';
import { UsageError } from '../job/errors.js';
import { DEG } from './angles.js';
import { sunCaution } from './caution.js';
import { ephemeris } from './ephemeris.js';
import { moonPhase } from './phase.js';

const site = { latitudeDeg: 34.2, longitudeDeg: -118.1, heightM: 0 };
const noon = new Date('2026-03-20T20:00:00Z');
const midnight = new Date('2026-03-20T08:00:00Z');
const ALL = ['SOLAR_FILTER', 'FINDER_CAPPED', 'NEVER_UNATTENDED', 'SWEEP_AWAY'];

test('every caution comes whenever the Sun is the aim, by day and by night', () => {
  for (const date of [noon, midnight]) {
    const caution = sunCaution(date, site, 'Sun');
    expect(caution.causes).toContain('SUN_IS_AIM');
    expect(caution.sunSeparationDeg).toBeLessThan(1e-6);
    expect(caution.cautions.map(({ code }) => code)).toEqual(ALL);
    expect(caution.cautions[0]!.text).toMatch(/certified full-aperture solar filter in front of the optics before/);
    expect(caution.cautions[3]!.text).toMatch(/with the filter on/);
  }
});

test('every caution comes for any aim while the Sun is up, and none at midnight', () => {
  const day = sunCaution(noon, site, { azimuthDeg: 0, altitudeDeg: 20 });
  expect(day.causes).toEqual(['SUN_IS_UP']);
  expect(day.cautions.map(({ code }) => code)).toEqual(ALL);
  const night = sunCaution(midnight, site, { azimuthDeg: 180, altitudeDeg: 40 });
  expect(night).toMatchObject({ causes: [], cautions: [] });
  expect(night.sunAltitudeDeg).toBeLessThan(-30);
});

test('a thin crescent stands near the Sun after sunset, too', () => {
  // The evening after the new moon of 2026 March 19.
  let date = Date.UTC(2026, 2, 21, 1);
  while (ephemeris('Sun', new Date(date), site).altitudeDeg > -3) date += 60_000;
  expect(moonPhase(new Date(date)).name).toBe('waxing crescent');
  const { causes, cautions, sunSeparationDeg } = sunCaution(new Date(date), site, 'Moon');
  expect(sunSeparationDeg).toBeCloseTo(ephemeris('Moon', new Date(date), site).sunSeparationDeg, 6);
  expect(causes).toEqual(['SUN_IS_NEAR']);
  expect(cautions.map(({ code }) => code)).toEqual(ALL);
});

test('the limits are 30 degrees and the horizon, seen from a height as well', () => {
  let sunset = Date.UTC(2026, 2, 21, 1);
  while (ephemeris('Sun', new Date(sunset), site).altitudeDeg > -2) sunset += 15_000;
  const { azimuthDeg, altitudeDeg } = ephemeris('Sun', new Date(sunset), site);
  const causes = (degrees: number, heightM: number) =>
    sunCaution(new Date(sunset), { ...site, heightM }, { azimuthDeg, altitudeDeg: altitudeDeg + degrees }).causes;
  expect(causes(29.9, 0)).toEqual(['SUN_IS_NEAR']);
  expect(causes(30.1, 0)).toEqual([]);
  expect(causes(60, 4000)).toEqual(['SUN_IS_UP']);
});

test('the direction of the sweep leads straight away from the Sun, and the words say the same', () => {
  for (const [right, up, words] of [
    [10, 0, 'right'],
    [-10, 0, 'left'],
    [0, 12, 'up'],
    [0, -12, 'down'],
    [9, 9, 'up and right'],
    [-9, -9, 'down and left'],
  ] as const) {
    const sun = ephemeris('Sun', noon, site);
    const azimuthDeg = sun.azimuthDeg + right / Math.cos(sun.altitudeDeg * DEG);
    const aim = { azimuthDeg, altitudeDeg: sun.altitudeDeg + up };
    const caution = sunCaution(noon, site, aim);
    expect(caution.cautions[3]!.text).toMatch(new RegExp(`facing the aim, ${words};`));
    const away = caution.awayFromSunDeg * DEG;
    const moved = {
      azimuthDeg: aim.azimuthDeg + Math.sin(away) / Math.cos(aim.altitudeDeg * DEG),
      altitudeDeg: aim.altitudeDeg + Math.cos(away),
    };
    expect(sunCaution(noon, site, moved).sunSeparationDeg - caution.sunSeparationDeg).toBeGreaterThan(0.99);
  }
});

test('what cannot be is refused', () => {
  expect(() => sunCaution(noon, site, { azimuthDeg: 10, altitudeDeg: 95 })).toThrow(UsageError);
  expect(() => sunCaution(noon, site, { azimuthDeg: 10, altitudeDeg: 95 })).toThrow(/altitudeDeg is 95/);
});
