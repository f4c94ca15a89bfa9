import { quantile } from '../compute/quantile.js';

/** Frames in a row that belong together. Indices into the times given, both ends included. */
export interface TimeRun {
  readonly first: number;
  readonly last: number;
  /** Seconds without a frame before this run; `undefined` for the first one. */
  readonly gapBeforeS: number | undefined;
}

/** How a folder of everything falls into passes. */
export interface TimeSplit {
  readonly runs: readonly TimeRun[];
  /** Gaps above this part passes, s. */
  readonly gapS: number;
}

/**
 * Parts frames, in their order, into runs by the gaps between their times (milliseconds on one clock; `undefined` where
 * there is none: such a frame stays with the one before). With `gapS`, every longer gap parts. Else the rhythm decides: with m
 * the median gap, a gap parts when it is longer than max(5 s, min(8 m, max(20 s, 3.5 m))).
 *
 * So in quick bursts (m below 0.6 s) 5 s part; at a frame in 2 s, 16 s, since a card's pause takes up to some 10 s; at
 * steady intervals of 6 s and more, 3.5 of them, since an interval timer loses a frame or two but does not pause. A gap
 * of no more than 20 s parts only when the frames on both sides run on for longer than it lasts: bursts of two seconds
 * with eight in between are one pass. Nobody points a telescope anew in a few seconds after each burst.
 */
export function splitByGap(timesMs: readonly (number | undefined)[], gapS?: number): TimeSplit {
  const gaps = gapsOf(timesMs);
  const least = gapS ?? leastGapS(gaps.map(({ seconds }) => seconds));
  const long = gaps.filter(({ seconds }) => seconds > least);
  const parting = gapS === undefined ? long.filter((_, i) => isBetweenLongRuns(long, i, timesMs)) : long;
  const starts = [0, ...parting.map(({ before }) => before)];
  const runs = starts.map((first, i) => ({
    first,
    last: (starts[i + 1] ?? timesMs.length) - 1,
    gapBeforeS: i === 0 ? undefined : parting[i - 1]!.seconds,
  }));
  return { runs: timesMs.length === 0 ? [] : runs, gapS: least };
}

const FLOOR_S = 5;
const OF_MEDIAN = 8;
/** Longest pause that a camera makes by itself, s. */
const PAUSE_S = 20;
const OF_STEADY = 3.5;

interface Gap {
  /** Index of the frame after it. */
  readonly before: number;
  readonly seconds: number;
  readonly fromMs: number;
  readonly toMs: number;
}

function gapsOf(timesMs: readonly (number | undefined)[]): Gap[] {
  const gaps: Gap[] = [];
  let last: number | undefined;
  for (const [i, time] of timesMs.entries()) {
    if (time === undefined) continue;
    // Where the clock goes back, something else begins as well.
    if (last !== undefined) gaps.push({ before: i, seconds: Math.abs(time - last) / 1000, fromMs: last, toMs: time });
    last = time;
  }
  return gaps;
}

function leastGapS(gaps: readonly number[]): number {
  if (gaps.length === 0) return FLOOR_S;
  const median = quantile(Float64Array.from(gaps), 0.5);
  return Math.max(FLOOR_S, Math.min(OF_MEDIAN * median, Math.max(PAUSE_S, OF_STEADY * median)));
}

function isBetweenLongRuns(long: readonly Gap[], i: number, timesMs: readonly (number | undefined)[]): boolean {
  const { seconds, fromMs, toMs } = long[i]!;
  if (seconds > PAUSE_S) return true;
  const known = timesMs.filter((time) => time !== undefined);
  const began = long[i - 1]?.toMs ?? known[0]!;
  const ended = long[i + 1]?.fromMs ?? known.at(-1)!;
  return (fromMs - began) / 1000 > seconds && (ended - toMs) / 1000 > seconds;
}
