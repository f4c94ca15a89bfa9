import { expect, test } from 'vitest';
import { UsageError } from '../job/errors.js';
import { ephemeris } from './ephemeris.js';
import { moonPhase, phaseName } from './phase.js';

// Published: Meeus, Astronomical Algorithms (1998), example 49.a: new moon 1977 February 18, 3:37:42 TD (ΔT 48 s); 49.b: last
// quarter 2044 January 21, 23:48:17 TD.
test('age and elongation at the published moments', () => {
  const newMoon = Date.parse('1977-02-18T03:36:54Z');
  const after = moonPhase(new Date(newMoon + 3_600_000));
  expect(Math.abs(after.ageDays * 86_400 - 3600)).toBeLessThan(20);
  expect(after.name).toBe('new moon');
  const before = moonPhase(new Date(newMoon - 3_600_000));
  expect(before.ageDays).toBeGreaterThan(29.2);
  expect(before.elongationDeg).toBeGreaterThan(359);
  const quarter = moonPhase(new Date('2044-01-21T23:46:50Z'));
  expect(Math.abs(quarter.elongationDeg - 270)).toBeLessThan(0.02);
  expect(quarter.name).toBe('last quarter');
});

test('every name has its place, quarters for half a day about their moment', () => {
  const names = [0, 6, 6.2, 83.8, 84, 96, 97, 173, 175, 186, 200, 263, 265, 275, 277, 353, 354, 359.9].map(phaseName);
  expect(names).toEqual([
    'new moon',
    'new moon',
    'waxing crescent',
    'waxing crescent',
    'first quarter',
    'first quarter',
    'waxing gibbous',
    'waxing gibbous',
    'full moon',
    'full moon',
    'waning gibbous',
    'waning gibbous',
    'last quarter',
    'last quarter',
    'waning crescent',
    'waning crescent',
    'new moon',
    'new moon',
  ]);
});

test('goes with the terminator: colongitude about 270 when new, 0 at first quarter', () => {
  const site = { latitudeDeg: 30, longitudeDeg: 10, heightM: 0 };
  for (const day of [1, 6, 12, 19, 25]) {
    const date = new Date(Date.UTC(2026, 2, day));
    const { elongationDeg } = moonPhase(date);
    const { colongitudeDeg } = ephemeris('Moon', date, site).terminator!;
    const off = ((elongationDeg - colongitudeDeg - 90 + 540) % 360) - 180;
    expect(Math.abs(off)).toBeLessThan(10);
  }
});

test('a date out of range is refused', () => {
  expect(() => moonPhase(new Date('1600-01-01'))).toThrow(UsageError);
  expect(() => moonPhase(new Date('1600-01-01'))).toThrow(/1900 to 2100/);
});
