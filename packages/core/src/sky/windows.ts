import { UsageError } from '../job/errors.js';
import { DEG } from './angles.js';
import { type Ephemeris, ephemeris } from './ephemeris.js';
import { requirePlace, type Site, type SkyBody } from './types.js';
import { type Condition, conditionsOf, type SkyWish } from './wishes.js';

/** A span of time in which a wish holds. */
export interface SkyWindow {
  /** To a millisecond; the ends of the searched span where the wish holds there. */
  readonly start: Date;
  readonly end: Date;
  /** When the body stands highest in it, to five minutes. */
  readonly best: Date;
  /** Hours, each weighed by the sine of the body's altitude: long windows with a high one rank first. */
  readonly score: number;
  /** What is good about the best moment, in plain words, one for each condition, and how long the window is. */
  readonly reasons: readonly string[];
}

/**
 * Finds all windows between two dates in which every condition of a wish about the Moon holds at once, the best first.
 * From a condition missed by some degrees the search jumps ahead as far as the fastest motion allows, so that only windows
 * of less than a minute can escape it. The span is 400 days at most. Throws `UsageError` for a wish, site or span that
 * cannot be.
 */
export function skyWindows(from: Date, to: Date, site: Site, wish: SkyWish): readonly SkyWindow[] {
  return windowsWhere(conditionsOf(wish), from, to, { body: 'Moon', site });
}

/** A body, and where it is seen from. */
export interface SeenBody {
  readonly body: SkyBody;
  readonly site: Site;
}

/** As {@link skyWindows}, for conditions about any body. */
export function windowsWhere(
  conditions: readonly Condition[],
  from: Date,
  to: Date,
  seen: SeenBody,
): readonly SkyWindow[] {
  const { site } = seen;
  requirePlace(from, site);
  requirePlace(to, site);
  const [begin, finish] = [from.getTime(), to.getTime()];
  if (!(finish > begin && finish - begin <= LONGEST_MS)) {
    throw new UsageError(`the span is from ${from.toISOString()} to ${to.toISOString()}; give one of up to 400 days`);
  }
  const windows: SkyWindow[] = [];
  let start: number | null = null;
  let last = begin;
  for (let at = begin; ; ) {
    const { holds, safeMs } = look(at, seen, conditions);
    if (holds && start === null) start = at === begin ? begin : edge(last, at, seen, conditions);
    if (!holds && start !== null) {
      windows.push(describe(start, edge(at, last, seen, conditions), seen, conditions));
      start = null;
    }
    if (at === finish) break;
    last = at;
    at = Math.min(finish, at + safeMs);
  }
  if (start !== null) windows.push(describe(start, finish, seen, conditions));
  return windows.sort((a, b) => b.score - a.score || a.start.getTime() - b.start.getTime());
}

const HOUR_MS = 3_600_000;
const LEAST_STEP_MS = 60_000;
const SCORE_STEP_MS = 300_000;
const LONGEST_MS = 400 * 24 * HOUR_MS;

/** Whether the wish holds at a moment, and for how long from then on that cannot change, a minute at least. */
function look(at: number, seen: SeenBody, conditions: readonly Condition[]): { holds: boolean; safeMs: number } {
  const date = new Date(at);
  const moon = ephemeris(seen.body, date, seen.site);
  let kept = Number.POSITIVE_INFINITY;
  let missed = Number.NEGATIVE_INFINITY;
  for (const { marginDeg, fastestDegPerHour } of conditions) {
    const hours = marginDeg(moon, date) / fastestDegPerHour;
    if (hours >= 0) kept = Math.min(kept, hours);
    else missed = Math.max(missed, -hours);
  }
  const holds = missed === Number.NEGATIVE_INFINITY;
  return { holds, safeMs: Math.max(LEAST_STEP_MS, Math.floor((holds ? kept : missed) * HOUR_MS)) };
}

/** The first or last millisecond at which the wish holds, between a moment at which it does not and one at which it does. */
function edge(outside: number, inside: number, seen: SeenBody, conditions: readonly Condition[]): number {
  let [out, within] = [outside, inside];
  while (Math.abs(within - out) > 1) {
    const middle = Math.round((out + within) / 2);
    if (look(middle, seen, conditions).holds) within = middle;
    else out = middle;
  }
  return within;
}

function describe(start: number, end: number, seen: SeenBody, conditions: readonly Condition[]): SkyWindow {
  const steps = Math.max(1, Math.ceil((end - start) / SCORE_STEP_MS));
  let score = 0;
  let best: { date: Date; moon: Ephemeris } | undefined;
  for (let step = 0; step <= steps; step++) {
    const date = new Date(Math.round(start + ((end - start) * step) / steps));
    const moon = ephemeris(seen.body, date, seen.site);
    if (!best || moon.altitudeDeg > best.moon.altitudeDeg) best = { date, moon };
    const weight = step === 0 || step === steps ? 0.5 : 1;
    score += (weight * Math.sin(moon.altitudeDeg * DEG) * (end - start)) / steps / HOUR_MS;
  }
  const { date, moon } = best!;
  const reasons = conditions.map(({ reason }) => reason(moon, date));
  reasons.push(`lasts ${Math.round((end - start) / LEAST_STEP_MS)} min`);
  return { start: new Date(start), end: new Date(end), best: date, score, reasons };
}
