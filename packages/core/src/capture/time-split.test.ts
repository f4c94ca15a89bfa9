import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { createRandom } from '../compute/random.js';
import { splitByGap } from './time-split.js';

/** Times in ms of frames with these gaps in s between them. */
function timesOf(gaps: readonly number[]): number[] {
  const times = [1_757_275_686_000];
  for (const gap of gaps) times.push(times.at(-1)! + gap * 1000);
  return times;
}

const many = (n: number, gap: number): number[] => new Array<number>(n).fill(gap);

/** First frame of each run. */
function startsOf(gaps: readonly number[], gapS?: number): number[] {
  return splitByGap(timesOf(gaps), gapS).runs.map(({ first }) => first);
}

describe('cadences as cameras have them', () => {
  const random = createRandom(21);
  const jittered = (n: number, gap: number, share: number): number[] =>
    many(n, gap).map((mean) => mean * (1 + share * random.normal()));
  /** A frame in 2 s, and every tenth gap a pause while the card is written. */
  const buffered = (n: number): number[] =>
    jittered(n, 2, 0.05).map((gap, i) => (i % 10 === 9 ? 8 + 2 * random.uniform() : gap));

  test.each<[string, number[], number[]]>([
    [
      '5 frames a second, three passes',
      [...jittered(99, 0.2, 0.1), 41, ...jittered(79, 0.2, 0.1), 75, ...jittered(49, 0.2, 0.1)],
      [0, 100, 180],
    ],
    [
      '5 frames a second, slower once the buffer is full',
      [...many(30, 0.2), ...many(30, 1.4), 3.8, ...many(20, 0.2)],
      [0],
    ],
    ['quick passes, 12 s to turn to the next', [...many(200, 0.2), 12, ...many(200, 0.2)], [0, 201]],
    ['a frame in 2 s with pauses for the card, one pass', buffered(80), [0]],
    ['a frame in 2 s with pauses for the card, two passes', [...buffered(60), 64, ...buffered(60)], [0, 61]],
    ['an interval timer at 10 s, two passes', [...many(20, 10), 45, ...many(20, 10)], [0, 21]],
    ['an interval timer at 10 s that lost two frames in a row', [...many(20, 10), 30, ...many(20, 10)], [0]],
    ['an interval timer at 30 s, two passes', [...many(9, 30), 150, ...many(9, 30)], [0, 10]],
    [
      'bursts of 2 s with 8 s in between, one pass',
      many(12, 0).flatMap((_, i) => (i === 0 ? many(9, 0.2) : [8, ...many(9, 0.2)])),
      [0],
    ],
    [
      'bursts of 2 s with 8 s in between, two passes',
      [...many(5, 0).flatMap(() => [...many(9, 0.2), 8]), 90, ...many(5, 0).flatMap(() => [...many(9, 0.2), 8])],
      [0, 51],
    ],
    [
      'stamps in whole seconds',
      [...many(50, 0).flatMap(() => [0, 0, 0, 1]), 40, ...many(50, 0).flatMap(() => [0, 0, 0, 1])],
      [0, 201],
    ],
    ['one frame', [], [0]],
    ['two frames an hour apart', [3600], [0]],
  ])('%s', (_, gaps, starts) => {
    expect(startsOf(gaps)).toEqual(starts);
  });

  test('the night after', () => {
    expect(startsOf([...many(30, 0.5), 86_400, ...many(30, 0.5)])).toEqual([0, 31]);
  });
});

test('a given gap parts at every longer one and at no other', () => {
  expect(startsOf([1, 3, 3.5, 1, 4], 3)).toEqual([0, 3, 5]);
  expect(splitByGap(timesOf([1, 3, 3.5, 1, 4]), 3)).toEqual({
    gapS: 3,
    runs: [
      { first: 0, last: 2, gapBeforeS: undefined },
      { first: 3, last: 4, gapBeforeS: 3.5 },
      { first: 5, last: 5, gapBeforeS: 4 },
    ],
  });
});

test('where the clock goes back by much, another pass begins', () => {
  expect(startsOf([...many(40, 0.5), -600, ...many(40, 0.5)])).toEqual([0, 41]);
});

test('frames without a time stay with the one before', () => {
  const times = timesOf([...many(20, 1), 100, ...many(20, 1)]);
  expect(splitByGap([undefined, ...times.slice(0, 21), undefined, ...times.slice(21)]).runs).toEqual([
    { first: 0, last: 22, gapBeforeS: undefined },
    { first: 23, last: 43, gapBeforeS: 100 },
  ]);
  expect(splitByGap([undefined, undefined]).runs).toEqual([{ first: 0, last: 1, gapBeforeS: undefined }]);
  expect(splitByGap([]).runs).toEqual([]);
});

test('runs cover every frame once, and the rule does not depend on when the night began', () => {
  const gap = fc.oneof(fc.double({ min: 0, max: 3, noNaN: true }), fc.double({ min: 0, max: 500, noNaN: true }));
  fc.assert(
    fc.property(fc.array(gap, { maxLength: 60 }), fc.integer({ min: -1e6, max: 1e6 }), (gaps, shiftS) => {
      const times = timesOf(gaps.map((value) => Math.round(value * 1000) / 1000)).map(Math.round);
      const { runs, gapS } = splitByGap(times);
      expect(runs[0]!.first).toBe(0);
      expect(runs.at(-1)!.last).toBe(times.length - 1);
      for (const [i, run] of runs.entries()) {
        expect(run.last).toBeGreaterThanOrEqual(run.first);
        if (i > 0) expect(run.first).toBe(runs[i - 1]!.last + 1);
        if (i > 0) expect(run.gapBeforeS).toBeGreaterThan(gapS);
      }
      expect(splitByGap(times.map((time) => time + shiftS * 1000))).toEqual({ runs, gapS });
    }),
    { seed: 8, numRuns: 300 },
  );
});
