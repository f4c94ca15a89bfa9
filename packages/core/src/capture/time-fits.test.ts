import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { bytesInMemory } from './tiff-tags.js';
import { readFits } from './time-fits.js';

/** A header unit of these cards, padded to whole blocks. */
function unit(...cards: string[]): Buffer {
  const text = [...cards, 'END'].map((card) => card.padEnd(80)).join('');
  return Buffer.from(text.padEnd(Math.ceil(text.length / 2880) * 2880), 'latin1');
}

const read = (...units: Buffer[]): ReturnType<typeof readFits> => readFits(bytesInMemory(Buffer.concat(units)));
const AT = Date.UTC(2025, 8, 8, 1, 28, 6);
const START = ['SIMPLE  =                    T', 'NAXIS   =                    2'];

describe('when the exposure began', () => {
  test.each([
    ['date and time', ["DATE-OBS= '2025-09-08T01:28:06.25' / start"], { clockMs: AT + 250, stepS: 0.01, offsetMin: 0 }],
    [
      'time beside the date',
      ["DATE-OBS= '2025-09-08'", "TIME-OBS= '01:28:06.5'"],
      { clockMs: AT + 500, stepS: 0.1, offsetMin: 0 },
    ],
    [
      'a date of before 1998',
      ["DATE-OBS= '19/05/94          '", "TIME-OBS= '15:41:16'"],
      { clockMs: Date.UTC(1994, 4, 19, 15, 41, 16) },
    ],
    ['a date alone, and a beginning', ["DATE-OBS= '2025-09-08'", "DATE-BEG= '2025-09-08T01:28:06'"], { clockMs: AT }],
    [
      'a Julian date',
      ['MJD-OBS =             60926.25000'],
      { clockMs: Date.UTC(2025, 8, 8, 6), stepS: expect.closeTo(0.864, 12), offsetMin: 0 },
    ],
    ['atomic time', ["DATE-OBS= '2025-09-08T01:28:43'", "TIMESYS = 'TAI'"], { clockMs: AT, offsetMin: 0 }],
    [
      'UTC of some realisation',
      ["DATE-OBS= '2025-09-08T01:28:06'", "TIMESYS = 'UTC(NIST)'"],
      { clockMs: AT, offsetMin: 0 },
    ],
    ['local time', ["DATE-OBS= '2025-09-08T01:28:06'", "TIMESYS = 'LOCAL'"], { clockMs: AT, offsetMin: undefined }],
    ['the first of two', ["DATE-OBS= '2025-09-08T01:28:06'", "DATE-OBS= '2020-01-01T00:00:00'"], { clockMs: AT }],
  ])('%s', async (_, cards, expected) => {
    expect((await read(unit(...START, ...cards))).taken).toMatchObject(expected);
  });

  test.each([
    ['a comment', "COMMENT DATE-OBS= '2025-09-08T01:28:06'"],
    ['when the file was written', "DATE    = '2025-09-08T01:28:06'"],
    ['a whole Julian day', 'MJD-OBS =                60926'],
    ['no value', 'DATE-OBS='],
    ['an open quote', "DATE-OBS= '2025-09-08T01:28:06"],
  ])('%s says nothing', async (_, card) => {
    expect((await read(unit(...START, card))).taken).toBeUndefined();
  });
});

test('an empty primary unit is completed by the first extension', async () => {
  const primary = unit(
    'SIMPLE  =                    T',
    'NAXIS   =                    0',
    'EXPTIME =                 0.25',
  );
  const extension = unit(
    "XTENSION= 'IMAGE   '",
    "DATE-OBS= '2025-09-08T01:28:06'",
    'EXPTIME = 9.',
    'CCD-TEMP=                -10.5',
  );
  expect(await read(primary, extension)).toEqual({
    taken: { clockMs: AT, stepS: 1, offsetMin: 0 },
    exposureS: 0.25,
    sensorTemperatureC: -10.5,
  });
});

test.each([
  ['EXPTIME = 2.3D-01', 0.23],
  ["EXPOSURE= '0.5     '", 0.5],
  ['EXPTIME = 8', 8],
  ['EXPTIME = -1', undefined],
  ['EXPTIME = 1E999', undefined],
])('%s', async (card, exposureS) => {
  expect((await read(unit(...START, card))).exposureS).toBe(exposureS);
});

test('a header without an end is read as far as it may be', async () => {
  const endless = Buffer.from("FILLER  = 'x'".padEnd(80).repeat(36 * 5000), 'latin1');
  let bytes = 0;
  const counted = bytesInMemory(endless);
  const facts = await readFits({
    read: (buffer, offset, length, position) => {
      bytes += length;
      return counted.read(buffer, offset, length, position);
    },
  });
  expect(facts.taken).toBeUndefined();
  expect(bytes).toBeLessThanOrEqual(64 * 2880);
});

test('whatever the bytes, nothing is thrown', async () => {
  const card = fc.oneof(
    fc.string({ maxLength: 80 }),
    fc.constantFrom('END', 'NAXIS   = 0', "DATE-OBS= '''", 'MJD-OBS = 1.5E9'),
  );
  await fc.assert(
    fc.asyncProperty(fc.array(card, { maxLength: 80 }), fc.nat(4000), async (cards, cut) => {
      await read(unit(...cards).subarray(0, 8000 - cut));
    }),
    { seed: 12, numRuns: 300 },
  );
});
