import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { type FrameStamp, resolveTimes } from './time-resolve.js';
import { parseExifStamp } from './time-text.js';

/** A frame as a camera stamps it: `01:28:06`, or `01:28:06.25`. */
function shot(item: string, time: string, offset?: string): FrameStamp {
  const [whole, decimals] = time.split('.');
  const stamp = parseExifStamp(`2025:09:08 ${whole}`, decimals, offset)!;
  return { item, recorded: { stamp, source: 'exif', meaning: 'taken' } };
}

function changed(item: string, time: string, source: 'exif' | 'file' = 'file'): FrameStamp {
  return { item, recorded: { stamp: parseExifStamp(`2025:09:08 ${time}`, '', 'Z')!, source, meaning: 'changed' } };
}

const utcs = (
  frames: readonly FrameStamp[],
  ...rest: Parameters<typeof resolveTimes> extends [unknown, ...infer R] ? R : never
) => resolveTimes(frames, ...rest).times.map(({ utc }) => utc?.slice(11));
const reasons = (frames: readonly FrameStamp[]): string[] =>
  resolveTimes(frames).oddities.map(({ item, reason }) => `${item} ${reason}`);

describe('zone and clock', () => {
  test('a stamp with its zone', () => {
    expect(resolveTimes([shot('a', '01:28:06.028', '+05:30')])).toEqual({
      times: [
        {
          item: 'a',
          utc: '2025-09-07T19:58:06.028Z',
          clockMs: Date.UTC(2025, 8, 7, 19, 58, 6, 28),
          source: 'exif',
          uncertaintyS: 0.0005,
        },
      ],
      oddities: [],
    });
  });

  test('the stamp’s own zone comes before the settings’, and the clock offset is added to both', () => {
    const site = { timeZone: 'America/New_York', clockOffsetS: -3.5 };
    expect(utcs([shot('a', '01:00:04.25', '+02:00'), shot('b', '01:00:04.25')], { site })).toEqual([
      '23:00:00.750Z',
      '05:00:00.750Z',
    ]);
  });

  test('without any zone there is no UTC, and times can still be compared', () => {
    const { times, oddities } = resolveTimes([shot('a', '01:00:00.5'), shot('b', '01:00:02.5')]);
    expect(times.map(({ utc }) => utc)).toEqual([undefined, undefined]);
    expect(times[1]!.clockMs! - times[0]!.clockMs!).toBe(2000);
    expect(oddities).toEqual([
      {
        item: 'a',
        reason: 'zone-unknown',
        detail: 'The stamps do not say in which zone the clock was; set site.timeZone in capture.yaml.',
      },
    ]);
  });

  const stampAt = (item: string, time: string): FrameStamp => {
    const stamp = parseExifStamp(`2025:10:26 ${time}`, '25')!;
    return { item, recorded: { stamp, source: 'exif', meaning: 'taken' } };
  };

  test('an hour that comes twice is told', () => {
    const { times, oddities } = resolveTimes([stampAt('a', '02:30:00')], { site: { timeZone: 'Europe/Zurich' } });
    expect(times[0]).toMatchObject({ utc: '2025-10-26T00:30:00.250Z', uncertaintyS: 0.005 });
    expect(oddities).toEqual([
      { item: 'a', reason: 'zone-doubtful', detail: 'In Europe/Zurich the clock was put back or forward here.' },
    ]);
  });

  test('a pass across the end of summer time has no jump', () => {
    const frames = [stampAt('a', '01:59:59'), stampAt('b', '02:59:59'), stampAt('c', '03:00:01')];
    const { times, oddities } = resolveTimes(frames, { site: { timeZone: 'Europe/Zurich' } });
    expect(times.map(({ utc }) => utc?.slice(11, 19))).toEqual(['23:59:59', '00:59:59', '01:00:01']);
    expect(oddities).toEqual([]);
  });

  test('a clock that was wrong by months is put right before its zone is looked up', () => {
    const site = { timeZone: 'Europe/Zurich', clockOffsetS: 90 * 86_400 };
    expect(resolveTimes([shot('a', '12:00:00.5')], { site }).times[0]!.utc).toBe('2025-12-07T11:00:00.500Z');
  });
});

describe('whole seconds', () => {
  test('frames with one stamp are spread evenly over its second', () => {
    const frames = ['a', 'b', 'c', 'd'].map((item, i) => shot(item, i < 3 ? '01:00:00' : '01:00:01', 'Z'));
    expect(utcs(frames)).toEqual(['01:00:00.167Z', '01:00:00.500Z', '01:00:00.833Z', '01:00:01.500Z']);
    expect(resolveTimes(frames).times.map(({ uncertaintyS }) => uncertaintyS)).toEqual([
      expect.closeTo(5 / 6, 12),
      0.5,
      expect.closeTo(5 / 6, 12),
      0.5,
    ]);
  });

  test('decimals that are always 0 are none; one that is not makes them count', () => {
    expect(utcs([shot('a', '01:00:00.00', 'Z'), shot('b', '01:00:02.00', 'Z')])).toEqual([
      '01:00:00.500Z',
      '01:00:02.500Z',
    ]);
    expect(utcs([shot('a', '01:00:00.00', 'Z'), shot('b', '01:00:02.25', 'Z')])).toEqual([
      '01:00:00.000Z',
      '01:00:02.250Z',
    ]);
  });

  test('at any steady rate the true moment is within the uncertainty', () => {
    const rate = fc.double({ min: 0.1, max: 10, noNaN: true });
    fc.assert(
      fc.property(
        rate,
        fc.double({ min: 0, max: 1, noNaN: true }),
        fc.integer({ min: 1, max: 60 }),
        (perS, phase, n) => {
          const truth = Array.from({ length: n }, (_, i) => Date.UTC(2025, 8, 8) + (phase + i / perS) * 1000);
          const frames = truth.map((ms, i): FrameStamp => {
            const stamp = { clockMs: Math.floor(ms / 1000) * 1000, stepS: 1, offsetMin: 0 };
            return { item: `${i}`, recorded: { stamp, source: 'exif', meaning: 'taken' } };
          });
          const { times, oddities } = resolveTimes(frames);
          expect(oddities).toEqual([]);
          for (const [i, { clockMs, uncertaintyS }] of times.entries()) {
            // The last is what 1.7e12 ms in doubles leave.
            expect(Math.abs(clockMs! - truth[i]!)).toBeLessThanOrEqual(1000 * uncertaintyS! + 1e-3);
            if (i > 0) expect(clockMs!).toBeGreaterThan(times[i - 1]!.clockMs!);
          }
        },
      ),
      { seed: 6, numRuns: 300 },
    );
  });
});

describe('kinds of stamp', () => {
  test('frames without the stamp that most have, have no time', () => {
    const frames = [
      shot('a', '01:00:00.5', 'Z'),
      changed('b', '05:00:00'),
      shot('c', '01:00:01.5', 'Z'),
      { item: 'd', recorded: undefined },
    ];
    expect(utcs(frames)).toEqual(['01:00:00.500Z', undefined, '01:00:01.500Z', undefined]);
    expect(reasons(frames)).toEqual(['b time-missing', 'd time-missing']);
  });

  test('when none says when it was exposed, nothing vouches for the time', () => {
    const frames = [changed('a', '05:00:00'), changed('b', '05:00:01')];
    expect(resolveTimes(frames).times.map(({ source, uncertaintyS }) => [source, uncertaintyS])).toEqual([
      ['file', undefined],
      ['file', undefined],
    ]);
    expect(reasons(frames)).toEqual(['a time-changed-only']);
    expect(resolveTimes([changed('a', '05:00:00', 'exif'), changed('b', '09:00:00')]).times[0]!.source).toBe('exif');
  });

  test('no stamps at all', () => {
    const frames = [{ item: 'a', recorded: undefined }];
    expect(resolveTimes(frames)).toEqual({
      times: [{ item: 'a', utc: undefined, clockMs: undefined, source: undefined, uncertaintyS: undefined }],
      oddities: [],
    });
    expect(resolveTimes([])).toEqual({ times: [], oddities: [] });
  });
});

test('a stamp that is earlier than the one before is named', () => {
  const frames = [shot('a', '01:00:05.5', 'Z'), shot('b', '01:00:03.25', 'Z'), shot('c', '01:00:04.0', 'Z')];
  expect(resolveTimes(frames).oddities).toEqual([
    { item: 'b', reason: 'time-goes-back', detail: 'It is 2.250 s earlier than a.' },
  ]);
});

describe('a declared start', () => {
  const start = '2025-09-08T22:00:00+02:00';

  test('moves all frames, whatever zone and offset the clock had', () => {
    const frames = [shot('a', '01:00:00.5'), shot('b', '01:00:02.75')];
    const { times, oddities } = resolveTimes(frames, { start, site: { clockOffsetS: 99 } });
    expect(times.map(({ utc, source, uncertaintyS }) => [utc, source, uncertaintyS])).toEqual([
      ['2025-09-08T20:00:00.000Z', 'declared', 0.5],
      ['2025-09-08T20:00:02.250Z', 'declared', expect.closeTo(0.5 + 0.05 + 0.005, 9)],
    ]);
    expect(oddities).toEqual([]);
  });

  test('is all there is without stamps', () => {
    const frames = [
      { item: 'a', recorded: undefined },
      { item: 'b', recorded: undefined },
    ];
    expect(utcs(frames, { start })).toEqual(['20:00:00.000Z', undefined]);
  });

  test('without a zone it is in the site’s', () => {
    const local = '2025-09-08T22:00:00';
    expect(utcs([shot('a', '01:00:00.5')], { start: local, site: { timeZone: 'Asia/Kolkata' } })).toEqual([
      '16:30:00.000Z',
    ]);
    expect(utcs([shot('a', '01:00:00.5', 'Z')], { start: local })).toEqual([undefined]);
  });
});
