import { type Affine, applyX, applyY, compose, invert, rotationDegOf } from '../compute/affine.js';
import { defineTask, type Task } from '../compute/task.js';
import { createDetailPyramid, type DetailPyramid } from '../registration/detail-pyramid.js';
import { LOCK_DEFAULTS, type LockCandidate, lockPair, type Masked } from '../registration/lock.js';
import { isCertain, searchSimilarity } from '../registration/pair-search.js';
import { measurePatches, type PatchShift } from '../registration/patches.js';
import { refinePose } from '../registration/refine.js';
import { isSure } from './overlap-probability.js';

/** The same ground in two strips: strip px of either (space 3). */
export interface TiePoint {
  readonly fixedX: number;
  readonly fixedY: number;
  readonly movingX: number;
  readonly movingY: number;
  /** Variance of the match from noise, px² per axis. */
  readonly variance: number;
}

/** What the overlap of two strips says. */
export interface StripEdge {
  /** Moving strip px -> fixed strip px. */
  readonly pose: Affine;
  readonly lock: LockCandidate;
  /** Correlation of the detail over the overlap at full resolution. */
  readonly correlation: number;
  readonly ties: readonly TiePoint[];
  /** Spread of the ties about the pose, px per axis. */
  readonly spreadPx: number;
}

/** Input of {@link edgeTask}: two strips' light and coverage, in shared memory. */
export interface EdgeInput {
  readonly fixed: Masked;
  readonly moving: Masked;
}

/** Looks for the overlap of two strips, in a worker. Null when there is none that can be believed. */
export const edgeTask: Task<EdgeInput, StripEdge | null> = defineTask('placement/edge');

/** Looks for the overlap of two strips under any turn, in a worker: a camera that was taken off and put on again. */
export const turnedEdgeTask: Task<EdgeInput, StripEdge | null> = defineTask('placement/edge-turned');

/** One camera and one telescope: the scale between passes is 1, but for focus and refraction. */
const SAME_SCALE = [0.98, 1.02] as const;

export function runTurnedEdge({ fixed, moving }: EdgeInput): StripEdge | null {
  const certain = searchSimilarity(fixed, moving, { rotationDeg: 'any', scale: SAME_SCALE }).filter(isCertain);
  if (certain.length === 0) return null;
  const a = createDetailPyramid(fixed);
  const b = createDetailPyramid(moving);
  for (const candidate of certain) {
    const found = examine(a, b, candidate, SEARCH_DOUBT_PX);
    if (found) return found;
  }
  return null;
}

/** The search is right to about a px of its working size, which is a few px of a large strip. */
const SEARCH_DOUBT_PX = 4;

/** Turns between passes that are searched at first, degrees: a camera that was aimed again by hand. */
const ROTATIONS_DEG = [-5, -4, -3, -2, -1, 0, 1, 2, 3, 4, 5] as const;
const COARSE_SIDES_PX = [250, 500] as const;
const CANDIDATES = 6;
/** Sides of a tie's patch: large ones first, small ones where the overlap is too narrow for them. */
const PATCH_SIZES_PX = [64, 40] as const;
/**
 * Least figures for an overlap to be believed. Limbs alone lock with high significance and agreeing ties, so the
 * detail decides: passes of other bodies, ground or scale reached a correlation of 0.45 with a spread of 1.5 px, true
 * overlaps have 0.7 to 0.97 and 0.3 to 1.1 px.
 */
const LEAST = { significance: 6, correlation: 0.35, ties: 5, agreeing: 0.6 } as const;
/** Below this correlation the ties must lie within this spread, px per axis. */
const DOUBTFUL = { correlation: 0.55, spreadPx: 0.8 } as const;

/**
 * A refinement that turns further than this has left what the search found, degrees: the search is right to half its step,
 * and what slides along a limb turns far.
 */
const MOST_TURNED_DEG = 2;

export function runEdge({ fixed, moving }: EdgeInput): StripEdge | null {
  const a = createDetailPyramid(fixed);
  const b = createDetailPyramid(moving);
  for (const coarseSidePx of COARSE_SIDES_PX) {
    const found = searchAt(fixed, moving, a, b, coarseSidePx);
    if (found) return found;
  }
  return null;
}

function searchAt(
  fixed: Masked,
  moving: Masked,
  a: DetailPyramid,
  b: DetailPyramid,
  coarseSidePx: number,
): StripEdge | null {
  const settings = { ...LOCK_DEFAULTS, coarseSidePx, rotationsDeg: ROTATIONS_DEG, minOverlap: 0.015 };
  const factor = Math.max(1, Math.ceil(Math.max(a.widthPx, a.heightPx, b.widthPx, b.heightPx) / coarseSidePx));
  let best: StripEdge | null = null;
  for (const lock of distinct(lockPair(fixed, moving, settings), factor).slice(0, CANDIDATES)) {
    if (lock.significance < LEAST.significance) continue;
    const edge = examine(a, b, lock, factor);
    // A sure one is not compared with others.
    if (edge && isSure(edge)) return edge;
    if (edge && (!best || edge.ties.length * edge.correlation > best.ties.length * best.correlation)) best = edge;
  }
  return best;
}

/** Drops candidates that say nearly the same as a better one. */
function distinct(candidates: readonly LockCandidate[], factor: number): LockCandidate[] {
  const kept: LockCandidate[] = [];
  for (const c of candidates) {
    const near = kept.some(
      (k) =>
        Math.hypot(c.pose.tx - k.pose.tx, c.pose.ty - k.pose.ty) < 2.5 * factor &&
        Math.abs(c.pose.yx - k.pose.yx) < 0.03,
    );
    if (!near) kept.push(c);
  }
  return kept;
}

function examine(a: DetailPyramid, b: DetailPyramid, lock: LockCandidate, factor: number): StripEdge | null {
  const refined = refinePose(a, b, lock.pose, factor, 'rigid');
  if (!refined || refined.correlation < LEAST.correlation) return null;
  if (Math.abs(rotationDegOf(compose(invert(lock.pose), refined.pose))) > MOST_TURNED_DEG) return null;
  for (const sizePx of PATCH_SIZES_PX) {
    const settings = { sizePx, stepPx: sizePx / 4, stridePx: 1, minCorrelation: 0.45, maxShiftPx: 5 };
    const shifts = measurePatches(a.at(1), b.at(1), refined.pose, settings);
    const agreeing = consistent(shifts);
    if (agreeing.length < LEAST.ties || agreeing.length < LEAST.agreeing * shifts.length) continue;
    const spreadPx = Math.sqrt(agreeing.reduce((sum, t) => sum + t.dx * t.dx + t.dy * t.dy, 0) / (2 * agreeing.length));
    if (refined.correlation < DOUBTFUL.correlation && spreadPx > DOUBTFUL.spreadPx) continue;
    const ties = agreeing.map((s) => tie(refined.pose, s));
    return { pose: refined.pose, lock, correlation: refined.correlation, ties, spreadPx };
  }
  return null;
}

/** Patches whose shift lies near the median one. */
function consistent(shifts: readonly PatchShift[]): PatchShift[] {
  if (shifts.length === 0) return [];
  const mx = median(shifts.map((s) => s.dx));
  const my = median(shifts.map((s) => s.dy));
  const off = shifts.map((s) => Math.hypot(s.dx - mx, s.dy - my));
  const limit = Math.max(1, 3 * median(off));
  return shifts.filter((_, i) => off[i]! <= Math.min(limit, 3));
}

function median(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[Math.floor(sorted.length / 2)]!;
}

function tie(pose: Affine, s: PatchShift): TiePoint {
  return {
    fixedX: applyX(pose, s.x, s.y) + s.dx,
    fixedY: applyY(pose, s.x, s.y) + s.dy,
    movingX: s.x,
    movingY: s.y,
    variance: (s.cxx + s.cyy) / 2,
  };
}
