import { DEG, signedDeg } from '../sky/angles.js';
import {
  capacityOf,
  type Layout,
  layOut,
  seamArcsec,
  skyMarginArcsec,
  sureHalfArcsec,
  type TimedPass,
} from './layout.js';
import type { Rig } from './plan-options.js';
import { extentOf, type Roll, standingAt } from './standing.js';

/** A span of time, milliseconds since 1970. */
export interface Span {
  readonly startMs: number;
  readonly endMs: number;
  readonly bestMs: number;
}

/** Passes with times and aims. */
export interface Schedule extends Layout {
  readonly passes: readonly TimedPass[];
}

/** Why there is no schedule. */
export interface NoSchedule {
  readonly reason: string;
  /** Passes that would be needed, about; null when no number would do. */
  readonly neededPasses: number | null;
  /** What these passes would take, about, seconds, when the span is too short for them; else null. */
  readonly neededS: number | null;
}

/** More passes than anybody records in a night. */
const MOST_PASSES = 99;
/** Rounds in which times and aims settle. */
const ROUNDS = 3;

/** Moments of a span about which passes are tried when at its best moment the camera turns too much for the fewest. */
const CENTRES = 16;
/** And so far from the best moment, minutes. */
const NEAR_MIN = [-40, -20, -10, -5, 5, 10, 20, 40];
/** Where the camera turns fast, near the zenith, every minute so near to the best moment besides, minutes. */
const FAST_MIN = 20;
/** Other moments are tried for so many numbers of passes from the estimate on, and for no more passes than these. */
const LIKELY = 3;
const MOST_TRIED = 24;
/** A camera that turns so much against the drift may show more across it at another time. */
const MUCH_TURN_DEG = 10;

/**
 * The fewest passes that cover the disc within a span, as near to its best moment as so few allow; or why there are none.
 */
export function schedule(rig: Rig, span: Span): Schedule | NoSchedule {
  const single = timed(rig, span.bestMs, 0, firstRoll(rig));
  const estimate = estimatePasses(single, rig);
  if (typeof estimate === 'string') return { reason: estimate, neededPasses: null, neededS: null };
  const spans = [span, ...centresOf(span, turnsFast(rig, span))];
  let count = Math.max(1, estimate - 1);
  let found: Attempt = { kind: 'gaps' };
  for (; count <= MOST_PASSES; count++) {
    const isLikely = count >= estimate && count < estimate + LIKELY && count <= MOST_TRIED;
    found = bestAttempt(count, rig, isLikely ? spans : [span]);
    if (found.kind !== 'gaps') break;
  }
  if (found.kind === 'gaps') {
    const remedy = 'take a shorter focal length, a larger sensor or less overlap';
    const reason = `the disc needs more than ${MOST_PASSES} passes; ${remedy}`;
    return { reason, neededPasses: estimate, neededS: null };
  }
  if (found.kind === 'too short') return tooShort(Math.max(count, estimate), count, found.needsS, rig, span);
  for (count--; count > 0; count--) {
    // Near the zenith the camera may turn to show more across the drift.
    const turns = count <= MOST_TRIED && turnDeg(found.schedule) > MUCH_TURN_DEG;
    const fewer: Attempt = bestAttempt(count, rig, turns ? spans : [span]);
    if (fewer.kind !== 'covers') break;
    found = fewer;
  }
  return found.schedule;
}

/** Turn of the camera against the drift from the first pass to the last, degrees. */
function turnDeg({ passes }: Schedule): number {
  const [first, last] = [passes[0]!, passes.at(-1)!].map(({ standing: { camera } }) =>
    Math.atan2(camera.yPxPerS, camera.xPxPerS),
  );
  return Math.abs(signedDeg((last! - first!) / DEG));
}

/** Whether the drift turns much against the vertical, to which the camera keeps, about the best moment. */
function turnsFast(rig: Rig, { bestMs }: Span): boolean {
  const [before, after] = [-FAST_MIN / 2, FAST_MIN / 2].map((minute) => {
    const { camera } = standingAt(rig, bestMs + 60_000 * minute, 0, { fromVerticalDeg: 0 });
    return Math.atan2(camera.yPxPerS, camera.xPxPerS);
  });
  return Math.abs(signedDeg((after! - before!) / DEG)) > MUCH_TURN_DEG;
}

/** The span with other moments as its best, the nearest to its own first. */
function centresOf({ startMs, endMs, bestMs }: Span, isFast: boolean): Span[] {
  const moments = Array.from({ length: CENTRES }, (_, k) => startMs + ((endMs - startMs) * (k + 0.5)) / CENTRES);
  const minutes = Array.from({ length: isFast ? 2 * FAST_MIN + 1 : 0 }, (_, k) => k - FAST_MIN).filter((m) => m !== 0);
  const near = [...new Set([...NEAR_MIN, ...minutes])].map((minute) => bestMs + 60_000 * minute);
  moments.push(...near.filter((moment) => moment > startMs && moment < endMs));
  moments.sort((a, b) => Math.abs(a - bestMs) - Math.abs(b - bestMs));
  return moments.map((moment) => ({ startMs, endMs, bestMs: Math.round(moment) }));
}

/** The first attempt that covers the disc; where none does, the one about the first span. */
function bestAttempt(count: number, rig: Rig, spans: readonly Span[]): Attempt {
  let first: Attempt | undefined;
  for (const span of spans) {
    const attempt = withPasses(count, rig, span);
    if (attempt.kind === 'covers') return attempt;
    first ??= attempt;
  }
  return first!;
}

/** How many passes like this one cover the disc, or why no number does. */
function estimatePasses(pass: TimedPass, rig: Rig): number | string {
  const { neededArcsec } = capacityOf([pass], rig);
  const band = 2 * sureHalfArcsec(pass, rig);
  const seam = seamArcsec(pass, pass, rig);
  if (band >= neededArcsec) return 1;
  if (band > seam) return Math.ceil((neededArcsec - seam) / (band - seam));
  return (
    `a pointing error of ${round(rig.pointingErrorArcsec)}" and an overlap of ${round(100 * rig.overlap)} % leave nothing of ` +
    `the ${round(pass.standing.sideArcsec)}" that the frame shows across the drift; aim more truly, or ask for less overlap`
  );
}

/** What comes of a number of passes in a span. */
type Attempt =
  | { readonly kind: 'covers'; readonly schedule: Schedule }
  | { readonly kind: 'gaps' }
  | { readonly kind: 'too short'; readonly needsS: number };

function withPasses(count: number, rig: Rig, span: Span): Attempt {
  const { radiusArcsec } = standingAt(rig, span.bestMs, 0, 'along the drift');
  let aims: readonly number[] = Array.from({ length: count }, (_, k) => radiusArcsec * ((2 * k + 1) / count - 1));
  let lastS = 0;
  let attempt: Attempt = { kind: 'gaps' };
  for (let round = 0; round < ROUNDS; round++) {
    // A second to spare: the next round may take one longer.
    const latest = span.endMs - 1000 * (lastS + 1);
    const centred = span.bestMs - 500 * lastS;
    const startMs = Math.ceil(Math.max(span.startMs, Math.min(centred, latest)) / 1000) * 1000;
    const passes = inTurn(aims, startMs, rig);
    const last = passes.at(-1)!;
    const endMs = last.startMs + 1000 * last.driftS;
    lastS = (endMs - startMs) / 1000;
    const tooLate = round === ROUNDS - 1 && endMs > span.endMs;
    if (tooLate || 1000 * lastS > span.endMs - span.startMs) return { kind: 'too short', needsS: lastS };
    const layout = layOut(passes, rig);
    attempt = layout ? { kind: 'covers', schedule: { passes, ...layout } } : { kind: 'gaps' };
    if (layout) aims = layout.aims;
  }
  return attempt;
}

/** Passes one after the other. */
function inTurn(aims: readonly number[], startMs: number, rig: Rig): TimedPass[] {
  const passes: TimedPass[] = [];
  let at = startMs;
  for (const aim of aims) {
    const first = passes[0]?.standing;
    const pass = startedAt(rig, at, aim, first ? { fromVerticalDeg: first.rollFromVerticalDeg } : firstRoll(rig));
    passes.push(pass);
    at = Math.ceil(at / 1000 + pass.driftS + rig.reaimS) * 1000;
  }
  return passes;
}

/** A pass that starts at a moment; how long it lasts and where its middle is settle together. */
function startedAt(rig: Rig, startMs: number, acrossArcsec: number, roll: Roll): TimedPass {
  let pass = timed(rig, startMs, acrossArcsec, roll);
  for (let round = 0; round < ROUNDS; round++) {
    const { driftS } = pass;
    pass = timed(rig, startMs + 500 * driftS, acrossArcsec, roll);
    if (pass.driftS === driftS) break;
  }
  return { ...pass, startMs };
}

/** A pass whose disc centre is in the middle of the frame at a moment. */
function timed(rig: Rig, middleMs: number, acrossArcsec: number, roll: Roll): TimedPass {
  const standing = standingAt(rig, middleMs, acrossArcsec, roll);
  const { least, most } = extentOf(standing, 'along');
  const leadArcsec = skyMarginArcsec(standing) + rig.pointingErrorArcsec;
  const pathArcsec = most - least + standing.reachArcsec + 2 * leadArcsec;
  const driftS = Math.ceil(pathArcsec / standing.motion.speedArcsecPerS);
  return { standing, startMs: middleMs - 500 * driftS, driftS, leadArcsec };
}

function firstRoll({ rollDeg }: Rig): Roll {
  return rollDeg === null ? 'along the drift' : { positionAngleDeg: rollDeg };
}

function tooShort(needed: number, count: number, needsS: number, rig: Rig, { startMs, endMs }: Span): NoSchedule {
  const wholeS = Math.round((needsS * needed + rig.reaimS * (needed - count)) / count);
  const takes = `${minutes(wholeS)} with ${round(rig.reaimS)} s between them`;
  return {
    reason: `the disc needs ${needed === 1 ? 'a pass' : `${needed} passes`}, which take ${takes}; the window lasts ${minutes((endMs - startMs) / 1000)}`,
    neededPasses: needed,
    neededS: wholeS,
  };
}

function minutes(seconds: number): string {
  return `${round(seconds / 60)} min`;
}

function round(value: number): string {
  return String(value >= 10 ? Math.round(value) : Number(value.toFixed(1)));
}
