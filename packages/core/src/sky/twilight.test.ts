import { expect, test } from 'vitest';
import { UsageError } from '../job/errors.js';
import { twilight, twilightKind } from './twilight.js';

const site = { latitudeDeg: 34.2, longitudeDeg: -118.1, heightM: 1700 };

test('kinds change at the altitudes of their definition', () => {
  expect([1, -0.8, -0.9, -5.9, -6.1, -11.9, -12.1, -17.9, -18.1].map(twilightKind)).toEqual([
    'day',
    'day',
    'civil twilight',
    'civil twilight',
    'nautical twilight',
    'nautical twilight',
    'astronomical twilight',
    'astronomical twilight',
    'night',
  ]);
});

/** Minutes after sunset on a spring evening. */
function evening(minutes: number) {
  let sunset = Date.UTC(2026, 2, 21, 1);
  while (twilight(new Date(sunset), site).kind === 'day') sunset += 15_000;
  return twilight(new Date(sunset + minutes * 60_000), site);
}

test('between 10 and 35 minutes after sunset the sky halves in about 2.9 minutes', () => {
  const stops = [10, 15, 20, 25, 30, 35].map((minutes) => evening(minutes).stopsPer5Min!);
  const mean = stops.reduce((sum, value) => sum + value, 0) / stops.length;
  expect(Math.abs(-5 / mean - 2.9)).toBeLessThan(0.3);
});

test('falls at dusk, rises at dawn by as much, stands at night, and is not said by day', () => {
  const dusk = evening(25);
  expect(dusk.stopsPer5Min).toBeLessThan(0);
  let dawn = Date.UTC(2026, 2, 21, 12);
  while (twilight(new Date(dawn), site).sunAltitudeDeg < dusk.sunAltitudeDeg) dawn += 10_000;
  expect(Math.abs(twilight(new Date(dawn), site).stopsPer5Min! + dusk.stopsPer5Min!)).toBeLessThan(0.03);
  expect(evening(-60)).toMatchObject({ kind: 'day', stopsPer5Min: null });
  expect(evening(240)).toMatchObject({ kind: 'night', stopsPer5Min: 0 });
});

test('from sunset to the end of civil twilight light falls to 1 in 133', () => {
  // 453 lx and 3.4 lx on level ground under a clear sky: 7.06 stops.
  let stops = 0;
  let minutes = 0;
  while (evening(minutes).kind === 'civil twilight') {
    stops -= evening(minutes).stopsPer5Min! / 5;
    minutes++;
  }
  expect(Math.abs(stops - 7.06)).toBeLessThan(0.5);
});

test('what cannot be is refused', () => {
  expect(() => twilightKind(Number.NaN)).toThrow(UsageError);
  expect(() => twilight(new Date(Number.NaN), site)).toThrow(/no date at all/);
});
