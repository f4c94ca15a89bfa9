import { expect, test } from 'vitest';
import { ephemeris } from '../sky/ephemeris.js';
import { plan } from './plan.js';
import type { PlanOptions } from './plan-options.js';
import { missNotes } from './plan-words.js';

const options: PlanOptions = {
  site: { latitudeDeg: 46.6, longitudeDeg: 8, heightM: 1034, timeZone: 'Europe/Zurich' },
  optics: { focalLengthMm: 2000 },
  sensor: { widthPx: 2048, heightPx: 1080, pitchUm: 5.5 },
  from: new Date('2031-03-01T00:00:00Z'),
  to: new Date('2031-03-31T00:00:00Z'),
};
const site = { latitudeDeg: 46.6, longitudeDeg: 8, heightM: 1034 };

/** Every four minutes of the span. */
const sky = Array.from({ length: 30 * 360 + 1 }, (_, k) => {
  const date = new Date(options.from.getTime() + k * 240_000);
  return ephemeris('Moon', date, site);
});

test('each condition says how long it held, or how near it came and when; the reason names what never held', () => {
  const made = plan({ ...options, wish: { leastAltitudeDeg: 80 } });
  expect(made).toMatchObject({ feasible: false, windows: [], shots: null });
  expect(made.reason).toBe(
    'no window was found: the span never has the Moon at least 80° high; try a longer span, or a lower altitude',
  );
  const [altitude, dark] = made.missed!.conditions;
  const highest = Math.max(...sky.map((moon) => moon.altitudeDeg));
  expect(altitude).toMatchObject({ condition: 'altitude', wished: 'the Moon at least 80° high', heldMin: 0 });
  // At its highest the Moon moves by less than 0.01 degrees in two minutes.
  expect(Math.abs(altitude!.missedByDeg - (80 - highest))).toBeLessThan(0.01);
  expect(altitude!.figure).toBe(`the Moon ${(80 - altitude!.missedByDeg).toFixed(1)}° high`);
  const then = ephemeris('Moon', new Date(altitude!.best.utc), site);
  expect(Math.abs(80 - altitude!.missedByDeg - then.altitudeDeg)).toBeLessThan(0.005);
  const darkMin = 4 * sky.filter((moon) => moon.sunAltitudeDeg <= -18).length;
  expect(dark).toMatchObject({ condition: 'sky', missedByDeg: 0 });
  // Each of 31 nights is counted to four minutes.
  expect(Math.abs(dark!.heldMin - darkMin)).toBeLessThan(2 * 31);
});

test('conditions that hold one by one but never at once: the nearest moment says what each is then', () => {
  const span = { from: new Date('2031-03-01T00:00:00Z'), to: new Date('2031-03-07T00:00:00Z') };
  const made = plan({ ...options, ...span, wish: { feature: { name: 'Copernicus' }, leastAltitudeDeg: 63 } });
  expect(made.reason).toMatch(/^no window was found: the span has all that is wished for, but never all at once; try /);
  expect(made.missed!.conditions.map(({ condition }) => condition)).toEqual(['altitude', 'sky', 'feature']);
  for (const { heldMin, missedByDeg } of made.missed!.conditions) {
    expect(heldMin).toBeGreaterThan(0);
    expect(missedByDeg).toBe(0);
  }
  const { moment, figures } = made.missed!.nearest;
  const { altitudeDeg, sunAltitudeDeg } = ephemeris('Moon', new Date(moment.utc), site);
  expect(figures.slice(0, 2)).toEqual([
    `the Moon ${altitudeDeg.toFixed(1)}° high`,
    `the Sun ${(-sunAltitudeDeg).toFixed(1)}° down`,
  ]);
  expect(figures[2]).toMatch(/^the Sun \d+\.\d° above the horizon of Copernicus$/);
});

test('a phase that the span does not reach, and a body that is down', () => {
  const brief = { from: new Date('2031-06-20T20:00:00Z'), to: new Date('2031-06-21T03:00:00Z') };
  const made = plan({ ...options, ...brief, wish: { colongitude: { fromDeg: 350, toDeg: 370 }, sky: 'any' } });
  const [, colongitude] = made.missed!.conditions;
  const at = (utc: string): number => ephemeris('Moon', new Date(utc), site).terminator!.colongitudeDeg;
  expect(colongitude).toMatchObject({ heldMin: 0, best: { utc: '2031-06-21T03:00:00Z' } });
  expect(colongitude!.figure).toBe(`colongitude ${at(colongitude!.best.utc).toFixed(1)}°`);
  // Moments are told to the second, in which the Sun moves by 0.00015 degrees over the Moon.
  expect(Math.abs(colongitude!.missedByDeg - (350 - at(colongitude!.best.utc)))).toBeLessThan(2e-4);
  expect(missNotes(made)[1]).toMatch(
    /^Colongitude 350 to 370°: never; nearest colongitude \d+\.\d°, 2031-06-21 05:00 \+02:00\.$/,
  );
  const sun = { body: 'sun' as const, from: new Date('2031-03-01T20:00:00Z'), to: new Date('2031-03-02T02:00:00Z') };
  const down = plan({ ...options, ...sun });
  expect(down.missed!.conditions[0]!.figure).toMatch(/^the Sun \d+\.\d° below the horizon$/);
  expect(missNotes(down).length).toBe(1);
});
