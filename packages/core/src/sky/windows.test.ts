import { expect, test } from 'vitest';
import { UsageError } from '../job/errors.js';
import { sunAltitudeAtDeg } from './body-frame.js';
import { type Ephemeris, ephemeris } from './ephemeris.js';
import { namedFeatures } from './features.js';
import { elongationDeg } from './phase.js';
import { type SkyWindow, skyWindows } from './windows.js';
import type { SkyWish } from './wishes.js';

const site = { latitudeDeg: 34.2, longitudeDeg: -118.1, heightM: 1700 };
const from = new Date('2026-03-15T00:00:00Z');
const to = new Date('2026-04-16T00:00:00Z');
const copernicus = namedFeatures().find(({ name }) => name === 'Copernicus')!;
const STEP_MS = 240_000;
/** Every four minutes of the month. */
const moments = Array.from({ length: (to.getTime() - from.getTime()) / STEP_MS + 1 }, (_, k) => {
  const date = new Date(from.getTime() + k * STEP_MS);
  return { date, moon: ephemeris('Moon', date, site) };
});

/** A wish in its own words, and as a plain question of each moment. */
const wishes: [string, SkyWish, (moon: Ephemeris, date: Date) => boolean][] = [
  ['high', { leastAltitudeDeg: 40 }, (moon) => moon.altitudeDeg >= 40],
  ['dark', { sky: 'dark' }, (moon) => moon.sunAltitudeDeg <= -18],
  ['twilight', { sky: 'twilight' }, (moon) => moon.sunAltitudeDeg <= -0.8333 && moon.sunAltitudeDeg >= -18],
  [
    'about new moon',
    { elongation: { fromDeg: 340, toDeg: 20 }, leastAltitudeDeg: 5 },
    (moon, date) => (elongationDeg(date) >= 340 || elongationDeg(date) <= 20) && moon.altitudeDeg >= 5,
  ],
  [
    'colongitude',
    { colongitude: { fromDeg: 350, toDeg: 380 }, sky: 'dark', leastAltitudeDeg: 20 },
    ({ terminator, sunAltitudeDeg, altitudeDeg }) =>
      (terminator!.colongitudeDeg >= 350 || terminator!.colongitudeDeg <= 20) &&
      sunAltitudeDeg <= -18 &&
      altitudeDeg >= 20,
  ],
  [
    'a crater at the terminator',
    { nearTerminator: { name: 'Copernicus', point: copernicus, withinDeg: 16 }, leastAltitudeDeg: 15 },
    ({ frame, altitudeDeg }) => {
      const sunDeg = sunAltitudeAtDeg(frame!, copernicus);
      return sunDeg >= 0 && sunDeg <= 16 && altitudeDeg >= 15;
    },
  ],
];

const covers = (windows: readonly SkyWindow[], date: Date) =>
  windows.some(({ start, end }) => start.getTime() <= date.getTime() && date.getTime() <= end.getTime());

test.each(wishes)('%s: windows are what asking every four minutes finds', (_, wish, holds) => {
  const windows = skyWindows(from, to, site, wish);
  let good = 0;
  for (const { date, moon } of moments) {
    const expected = holds(moon, date);
    good += Number(expected);
    expect(covers(windows, date), date.toISOString()).toBe(expected);
  }
  expect(good).toBeGreaterThan(10);
  expect(good).toBeLessThan(moments.length - 10);
});

test.each(wishes)('%s: windows end where the wish does, to a millisecond', (_, wish, holds) => {
  for (const { start, end } of skyWindows(from, to, site, wish)) {
    for (const [inside, outwards] of [
      [start, -1],
      [end, 1],
    ] as const) {
      expect(holds(ephemeris('Moon', inside, site), inside)).toBe(true);
      const outside = new Date(inside.getTime() + 2 * outwards);
      if (outside < from || outside > to) continue;
      expect(holds(ephemeris('Moon', outside, site), outside)).toBe(false);
    }
  }
});

test('the best come first: long, with a high Moon; reasons say what the moment offers', () => {
  const windows = skyWindows(from, to, site, wishes[5]![1]);
  expect(windows.length).toBeGreaterThan(2);
  const scores = windows.map(({ score }) => score);
  expect(scores).toEqual([...scores].sort((a, b) => b - a));
  for (const { start, end, best, score, reasons } of windows) {
    let [sum, highest] = [0, -90];
    const count = 2000;
    for (let k = 0; k < count; k++) {
      const at = start.getTime() + ((end.getTime() - start.getTime()) * (k + 0.5)) / count;
      const { altitudeDeg } = ephemeris('Moon', new Date(at), site);
      sum += Math.sin((altitudeDeg * Math.PI) / 180) / count;
      highest = Math.max(highest, altitudeDeg);
    }
    expect(score).toBeCloseTo((sum * (end.getTime() - start.getTime())) / 3_600_000, 3);
    const moon = ephemeris('Moon', best, site);
    expect(highest - moon.altitudeDeg).toBeLessThan(0.7);
    const minutes = Math.round((end.getTime() - start.getTime()) / 60_000);
    const sun = sunAltitudeAtDeg(moon.frame!, copernicus);
    expect(reasons).toEqual([
      `the Moon stands ${Math.round(moon.altitudeDeg)}° high`,
      `the Sun ${sun.toFixed(1)}° above the horizon of Copernicus`,
      `lasts ${minutes} min`,
    ]);
  }
});

test('a wish that always holds is the whole span, one that never does is none', () => {
  const [whole, ...others] = skyWindows(from, to, site, { leastAltitudeDeg: -90 });
  expect(others).toEqual([]);
  expect([whole!.start, whole!.end]).toEqual([from, to]);
  expect(skyWindows(from, to, site, { leastAltitudeDeg: 89 })).toEqual([]);
});

test('what cannot be is refused', () => {
  for (const [call, message] of [
    [() => skyWindows(from, to, site, {}), /the wish is empty/],
    [() => skyWindows(to, from, site, { sky: 'dark' }), /give one of up to 400 days/],
    [() => skyWindows(from, new Date('2028-01-01'), site, { sky: 'dark' }), /give one of up to 400 days/],
    [() => skyWindows(from, to, site, { sky: 'bright' as 'dark' }), /sky is bright; give "twilight" or "dark"/],
    [() => skyWindows(from, to, site, { leastAltitudeDeg: 91 }), /leastAltitudeDeg is 91/],
    [() => skyWindows(from, to, site, { elongation: { fromDeg: 0, toDeg: Number.NaN } }), /elongation.toDeg is NaN/],
  ] as const) {
    expect(call).toThrow(UsageError);
    expect(call).toThrow(message);
  }
});
