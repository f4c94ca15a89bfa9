import fc from 'fast-check';
import { expect, test } from 'vitest';
import { isTimeZone, utcFromClock } from './time-zone.js';

const clock = (text: string): number => Date.parse(`${text}Z`);
const utc = (text: string, zone: string): [string, boolean] => {
  const { utcMs, doubtful } = utcFromClock(clock(text), zone);
  return [new Date(utcMs).toISOString().slice(0, 19), doubtful];
};

test.each([
  ['2025-09-08T01:28:06', 'Asia/Kolkata', '2025-09-07T19:58:06', false],
  ['2025-09-08T01:28:06', '+05:30', '2025-09-07T19:58:06', false],
  ['2025-01-15T22:00:00', 'Europe/Zurich', '2025-01-15T21:00:00', false],
  ['2025-07-15T22:00:00', 'Europe/Zurich', '2025-07-15T20:00:00', false],
  ['2025-01-15T22:00:00', 'Australia/Lord_Howe', '2025-01-15T11:00:00', false],
  // The clock went from 3 back to 2: the first of the two hours is meant.
  ['2025-10-26T01:59:59', 'Europe/Zurich', '2025-10-25T23:59:59', false],
  ['2025-10-26T02:30:00', 'Europe/Zurich', '2025-10-26T00:30:00', true],
  ['2025-10-26T03:00:00', 'Europe/Zurich', '2025-10-26T02:00:00', false],
  // The clock went from 2 to 3: a camera that knows nothing of it goes on.
  ['2025-03-30T01:59:59', 'Europe/Zurich', '2025-03-30T00:59:59', false],
  ['2025-03-30T02:30:00', 'Europe/Zurich', '2025-03-30T01:30:00', true],
  ['2025-03-30T03:00:00', 'Europe/Zurich', '2025-03-30T01:00:00', false],
])('%s in %s', (text, zone, expected, doubtful) => {
  expect(utc(text, zone)).toEqual([expected, doubtful]);
});

test('every clear reading of a clock leads back to its moment', () => {
  const zones = fc.constantFrom(
    'Europe/Zurich',
    'America/St_Johns',
    'Pacific/Chatham',
    'Africa/Casablanca',
    'America/Santiago',
  );
  const moments = fc.integer({ min: Date.UTC(1975, 0), max: Date.UTC(2035, 0) });
  fc.assert(
    fc.property(zones, moments, (zone, utcMs) => {
      const shown = new Date(utcMs).toLocaleString('sv-SE', { timeZone: zone }).replace(' ', 'T');
      const found = utcFromClock(clock(shown), zone);
      if (!found.doubtful) expect(found.utcMs).toBe(Math.floor(utcMs / 1000) * 1000);
    }),
    { seed: 4, numRuns: 400 },
  );
});

test.each([
  ['Europe/Zurich', true],
  ['UTC', true],
  ['+02:00', true],
  ['Mars/Phobos', false],
  ['', false],
  ['+25:00', false],
])('%j is a zone: %s', (text, expected) => {
  expect(isTimeZone(text)).toBe(expected);
});
