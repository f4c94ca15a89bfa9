import { expect, test } from 'vitest';
import { aheadOfUtcMs } from './time-leap.js';

const utc = (scale: string, text: string): string => {
  const ms = Date.parse(`${text}Z`);
  return new Date(ms - aheadOfUtcMs(scale, ms)!).toISOString().slice(0, 23);
};

test.each([
  // GPS and UTC agreed on 1980-01-06; 18 seconds came between then and 2017.
  ['GPS', '1980-01-06T00:00:00', '1980-01-06T00:00:00.000'],
  ['GPS', '2025-09-08T00:00:18', '2025-09-08T00:00:00.000'],
  ['TAI', '2025-09-08T00:00:37', '2025-09-08T00:00:00.000'],
  ['TT', '2025-09-08T00:01:09.184', '2025-09-08T00:00:00.000'],
  ['TDB', '2000-01-01T12:00:00', '2000-01-01T11:58:55.816'],
  // The leap second of 2016 ended when TAI showed 00:00:37.
  ['TAI', '2017-01-01T00:00:35.5', '2016-12-31T23:59:59.500'],
  ['TAI', '2017-01-01T00:00:37', '2017-01-01T00:00:00.000'],
  ['TAI', '1960-01-01T00:00:10', '1960-01-01T00:00:00.000'],
  ['UTC', '2025-09-08T00:00:00', '2025-09-08T00:00:00.000'],
])('%s %s', (scale, text, expected) => {
  expect(utc(scale, text)).toBe(expected);
});

test.each(['LOCAL', 'TCB', '', '__proto__', 'constructor'])('%j is not known', (scale) => {
  expect(aheadOfUtcMs(scale, 0)).toBeUndefined();
});
