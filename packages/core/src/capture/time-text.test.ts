import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { parseExifStamp, parseIsoStamp, parseMailStamp, parseOffsetMin } from './time-text.js';

const AT = Date.UTC(2025, 8, 8, 1, 28, 6);

describe('Exif', () => {
  test.each([
    ['2025:09:08 01:28:06', undefined, undefined, { clockMs: AT, stepS: 1, offsetMin: undefined }],
    ['2025:09:08 01:28:06', '028', '+05:30', { clockMs: AT + 28, stepS: 0.001, offsetMin: 330 }],
    ['2025:09:08 01:28:06', '5 ', '-03:30', { clockMs: AT + 500, stepS: 0.1, offsetMin: -210 }],
    ['2025:09:08 01:28:06', '', '   :  ', { clockMs: AT, stepS: 1, offsetMin: undefined }],
    ['2025-09-08T01:28:06', 'x', 'Z', { clockMs: AT, stepS: 1, offsetMin: 0 }],
    ['2024:02:29 00:00:00', undefined, undefined, { clockMs: Date.UTC(2024, 1, 29), stepS: 1, offsetMin: undefined }],
    ['2025:02:29 00:00:00', undefined, undefined, undefined],
    ['0000:00:00 00:00:00', undefined, undefined, undefined],
    ['    :  :     :  :  ', undefined, undefined, undefined],
    ['2017:08:21 15:08:70', undefined, undefined, undefined],
    ['2025:09:08', undefined, undefined, undefined],
    ['', undefined, undefined, undefined],
  ])('%j %j %j', (text, decimals, offset, expected) => {
    expect(parseExifStamp(text, decimals, offset)).toEqual(expected);
  });
});

describe('ISO 8601', () => {
  test.each([
    ['2025-09-08T01:28:06', { clockMs: AT, stepS: 1, offsetMin: undefined }],
    ['2025-09-08 01:28:06.25Z', { clockMs: AT + 250, stepS: 0.01, offsetMin: 0 }],
    ['2025-09-08T01:28:06,5+0530', { clockMs: AT + 500, stepS: 0.1, offsetMin: 330 }],
    ['2025-09-08T01:28+02', { clockMs: AT - 6000, stepS: 60, offsetMin: 120 }],
    ['2016-12-31T23:59:60Z', { clockMs: Date.UTC(2017, 0, 1), stepS: 1, offsetMin: 0 }],
    ['2025-09-08', undefined],
    ['2025-09-08T24:00:00', undefined],
    ['2025-13-08T01:28:06', undefined],
    ['2025-09-08T01:28:06+15:00', undefined],
    ['2025-09-08T01:28:06 Europe/Zurich', undefined],
  ])('%j', (text, expected) => {
    expect(parseIsoStamp(text)).toEqual(expected);
  });

  test('what the machine writes is read back to the millisecond', () => {
    const moments = fc.date({ min: new Date('1900-01-01'), max: new Date('2100-01-01'), noInvalidDate: true });
    fc.assert(
      fc.property(moments, (date) => {
        expect(parseIsoStamp(date.toISOString())!.clockMs).toBeCloseTo(date.getTime(), 6);
      }),
      { seed: 1 },
    );
  });

  test('no text is slow or throws', () => {
    fc.assert(
      fc.property(fc.string({ maxLength: 300 }), (text) => {
        for (const parse of [parseIsoStamp, parseExifStamp, parseMailStamp]) parse(text);
      }),
      { seed: 2 },
    );
    const long = `2025-09-08T01:28:06.${'9'.repeat(1_000_000)}!`;
    const before = process.cpuUsage();
    expect(parseIsoStamp(long)).toBeUndefined();
    expect(process.cpuUsage(before).user).toBeLessThan(500_000);
  });
});

test.each([
  ['Mon, 08 Sep 2025 01:28:06 +0530', { clockMs: AT, stepS: 1, offsetMin: 330 }],
  ['8 Sep 2025 01:28:06 GMT', { clockMs: AT, stepS: 1, offsetMin: 0 }],
  ['8 Foo 2025 01:28:06 GMT', undefined],
])('RFC 1123: %j', (text, expected) => {
  expect(parseMailStamp(text)).toEqual(expected);
});

test.each([
  ['Z', 0],
  ['UTC', 0],
  ['UTC+2', 120],
  ['+14:00', 840],
  ['-0930', -570],
  ['+14:01', undefined],
  ['+02:60', undefined],
  ['2', undefined],
  ['Europe/Zurich', undefined],
])('offset %s', (text, expected) => {
  expect(parseOffsetMin(text)).toBe(expected);
});
