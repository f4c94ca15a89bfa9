import { type Affine, applyX, applyY } from '../compute/affine.js';
import { quantile } from '../compute/quantile.js';
import { solveInPlace } from '../compute/small-solve.js';

/** Where a frame of a pass lies. */
export interface Waypoint {
  /** Its place in the recording. */
  readonly index: number;
  /** Its centre, px of a common space. */
  readonly x: number;
  readonly y: number;
  /** Whether frames between the one before and this were the same picture twice: time may have gone on less. */
  readonly afterDoubled?: boolean;
}

/** A step of the recording that took longer than the others (or less long, after a doubled frame). */
export interface CadenceStep {
  /** Index of the frame before which steps are missing. */
  readonly before: number;
  /** Number of missing steps; −1 where a doubled frame was put in between. */
  readonly lost: number;
}

/**
 * Steps that a recording has lost, read off the drift: a frame after a gap lies whole steps farther on, and so do all
 * that follow (after a bump they come back). The most likely course of whole steps (Viterbi 1967) and a quadratic way
 * along the drift are found in turn. Nothing is said where a step does not stand out of the frames' scatter.
 */
export function findLostSteps(way: readonly Waypoint[]): CadenceStep[] {
  if (way.length < LEAST_FRAMES) return [];
  const along = alongDrift(way);
  const step = quantile(differences(way, along), 0.5);
  const scatter = Math.max(
    0.02 * step,
    quantile(
      differences(way, along).map((d) => Math.abs(d - step)),
      0.5,
    ) / 0.95,
  );
  if (!(step > LEAST_STEP_SIGMAS * scatter)) return [];
  let lost = way.map(() => 0);
  const apart = Math.min(LONG_STEPS, Math.max(1, Math.floor(way.length / 4)));
  let rate = quantile(differences(way, along, apart), 0.5);
  let line = way.map((p) => rate * (p.index - way[0]!.index) + along[0]!);
  for (let round = 0; round < ROUNDS; round++) {
    const found = likeliestSteps(
      way,
      along.map((a, i) => a - line[i]!),
      lost,
      rate,
      Math.max(scatter, SLACK * rate),
    );
    lost = supported(found, along, way, rate);
    ({ line, rate } = fitWay(way, along, lost, scatter));
  }
  return lost.flatMap((n, i) => {
    const here = n - (lost[i - 1] ?? 0);
    return here === 0 ? [] : [{ before: way[i]!.index, lost: here }];
  });
}

/** The centres of placed frames, by index, as a way; `doubled` are the frames that are a picture twice. */
export function waypointsOf(
  poses: ReadonlyMap<number, Affine>,
  doubled: ReadonlySet<number>,
  widthPx: number,
  heightPx: number,
): Waypoint[] {
  const [cx, cy] = [(widthPx - 1) / 2, (heightPx - 1) / 2];
  const placed = [...poses].sort(([a], [b]) => a - b);
  return placed.map(([index, pose], k) => {
    const before = k > 0 ? placed[k - 1]![0] : index;
    let afterDoubled = false;
    for (let i = before + 1; i < index; i++) afterDoubled ||= doubled.has(i);
    return { index, x: applyX(pose, cx, cy), y: applyY(pose, cx, cy), afterDoubled };
  });
}

/** Time of each frame of a recording in usual steps: its index and what was lost before it. */
export function timesOf(indices: readonly number[], lost: readonly CadenceStep[]): Map<number, number> {
  return new Map(
    indices.map((index) => [index, lost.reduce((t, step) => t + (step.before <= index ? step.lost : 0), index)]),
  );
}

const LEAST_FRAMES = 8;
const LEAST_STEP_SIGMAS = 5;
/** Scatter counts less over longer steps; yet most of them must hold no gap, so that short passes have shorter ones. */
const LONG_STEPS = 6;
const ROUNDS = 6;
/** A frame may lie this share of a step off before it speaks against its place: the way is not known exactly at first. */
const SLACK = 0.2;
/** Most steps that one gap, and all of a pass together, may have lost. */
const MOST_AT_ONCE = 12;
const MOST_LOST = 120;
/** Cost of a gap against squared standard deviations, and where those stop to grow: a bump is no reason for a gap. */
const GAP_COST = 14;
const MOST_COST = 12;

function alongDrift(way: readonly Waypoint[]): number[] {
  const [dx, dy] = [median(way, (p) => p.x), median(way, (p) => p.y)];
  const length = Math.hypot(dx, dy) || 1;
  return way.map((p) => (p.x * dx + p.y * dy) / length);
}

function median(way: readonly Waypoint[], of: (p: Waypoint) => number): number {
  return quantile(
    way.slice(1).map((p, i) => (of(p) - of(way[i]!)) / (p.index - way[i]!.index)),
    0.5,
  );
}

/** Steps between waypoints `apart` places from each other, px a step. */
function differences(way: readonly Waypoint[], along: readonly number[], apart = 1): number[] {
  return way.slice(apart).map((p, i) => (along[i + apart]! - along[i]!) / (p.index - way[i]!.index));
}

/** Lost steps up to each frame that make the residuals smallest; `residual` already holds what `known` explains. */
function likeliestSteps(
  way: readonly Waypoint[],
  residual: readonly number[],
  known: readonly number[],
  rate: number,
  scatter: number,
): number[] {
  const states = MOST_LOST + 2;
  const cost = (i: number, lost: number): number => {
    const off = (residual[i]! + (known[i]! - lost) * rate) / scatter;
    return Math.min(MOST_COST, off * off);
  };
  let best = Float64Array.from({ length: states }, (_, s) => (s === 1 ? cost(0, 0) : Number.POSITIVE_INFINITY));
  const from: Int16Array[] = [];
  for (let i = 1; i < way.length; i++) {
    const next = new Float64Array(states).fill(Number.POSITIVE_INFINITY);
    const back = new Int16Array(states);
    for (let s = 0; s < states; s++) {
      for (let d = way[i]!.afterDoubled ? -1 : 0; d <= MOST_AT_ONCE && s - d >= 0; d++) {
        if (s - d >= states) continue;
        const sum = best[s - d]! + (d === 0 ? 0 : GAP_COST);
        if (sum < next[s]!) {
          next[s] = sum;
          back[s] = s - d;
        }
      }
      next[s]! += cost(i, s - 1);
    }
    best = next;
    from.push(back);
  }
  let state = best.indexOf(Math.min(...best));
  const lost = [state - 1];
  for (let i = from.length - 1; i >= 0; i--) {
    state = from[i]![state]!;
    lost.unshift(state - 1);
  }
  return lost;
}

/** Frames on either side of a gap that must agree that it is there. */
const WITNESSES = 12;
/** Share of a step within which they agree. */
const AGREE_SHARE = 0.5;

/** Sets every gap right by the frames on both sides of it; steps that only follow a way that bends come to nothing. */
function supported(
  lost: readonly number[],
  along: readonly number[],
  way: readonly Waypoint[],
  rate: number,
): number[] {
  const kept = lost.map(() => 0);
  let sum = 0;
  for (let i = 1; i < lost.length; i++) {
    const here = lost[i]! - lost[i - 1]!;
    if (here !== 0) {
      const level = (k: number): number => along[k]! - rate * (way[k]!.index + lost[k]!);
      const before = range(Math.max(0, i - WITNESSES), i).map(level);
      const after = range(i, Math.min(lost.length, i + WITNESSES)).map(level);
      sum += Math.max(way[i]!.afterDoubled ? -1 : 0, here + jumpBetween(before, after, rate));
    }
    kept[i] = sum;
  }
  return kept;
}

/** Steps by which what most of one side agrees on lies beyond what most of the other does; a bump's few do not count. */
function jumpBetween(before: readonly number[], after: readonly number[], rate: number): number {
  let best = { jump: 0, agreed: 0 };
  for (const jump of [0, -1, 1, -2, 2]) {
    const all = [...before, ...after.map((level) => level - jump * rate)];
    for (const level of all) {
      const agreed = all.reduce(
        (sum, other) => sum + Math.max(0, 1 - ((other - level) / (AGREE_SHARE * rate)) ** 2),
        0,
      );
      if (agreed > best.agreed + 1e-9) best = { jump, agreed };
    }
  }
  return best.jump;
}

function range(from: number, to: number): number[] {
  return Array.from({ length: to - from }, (_, i) => from + i);
}

/** Robust quadratic of the way against time; `line` at each frame with its lost steps, `rate` in the middle. */
function fitWay(way: readonly Waypoint[], along: readonly number[], lost: readonly number[], scatter: number) {
  const times = way.map((p, i) => p.index + lost[i]!);
  const middle = (times[0]! + times.at(-1)!) / 2;
  const half = Math.max(1, (times.at(-1)! - times[0]!) / 2);
  let weights = way.map(() => 1);
  let terms = new Float64Array(3);
  for (let round = 0; round < 6; round++) {
    const normal = new Float64Array(9);
    const right = new Float64Array(3);
    times.forEach((time, i) => {
      const t = (time - middle) / half;
      const row = [1, t, t * t];
      for (let p = 0; p < 3; p++) {
        for (let q = 0; q < 3; q++) normal[p * 3 + q]! += weights[i]! * row[p]! * row[q]!;
        right[p]! += weights[i]! * row[p]! * along[i]!;
      }
    });
    if (!solveInPlace(normal, right, 3)) break;
    terms = right;
    weights = times.map((time, i) => {
      const t = (time - middle) / half;
      const off = (along[i]! - terms[0]! - t * (terms[1]! + t * terms[2]!)) / scatter;
      return 1 / (1 + (off / 2.385) ** 2);
    });
  }
  const line = times.map((time) => {
    const t = (time - middle) / half;
    return terms[0]! + t * (terms[1]! + t * terms[2]!);
  });
  return { line, rate: terms[1]! / half };
}
