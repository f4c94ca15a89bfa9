import { type Affine, applyX, applyY } from '../compute/affine.js';
import type { Plane } from '../compute/image.js';
import type { WorkerPool } from '../compute/pool.js';
import { LOCK_DEFAULTS, type LockCandidate } from './lock.js';
import { lockTask } from './pair-tasks.js';

/** Rough relation of two frames by position in their list: moving px -> fixed px. */
export interface Link {
  readonly fixed: number;
  readonly moving: number;
  readonly pose: Affine;
}

/** A lock is looked at from this significance on (see {@link LockCandidate}). */
export const LEAST_SIGNIFICANCE = 9;
/** And from this correlation of the coarse detail on. */
export const LEAST_CORRELATION = 0.2;

/** Candidates for the relation of two frames. */
interface Candidates {
  readonly fixed: number;
  readonly moving: number;
  readonly found: readonly LockCandidate[];
}

/** The drift that most pairs agree on, px a frame, and how far from chance their locks are (median). */
interface Drift {
  readonly x: number;
  readonly y: number;
  readonly significance: number;
}

/**
 * Links the frames of a pass, given in the order of the recording: neighbours are locked, and where that fails, frames
 * two or three apart. In a locked-off pass all pairs show the same drift: the one that most locks agree on decides
 * between the candidates of a doubtful pair, so that a frame with little ground does not lock to dust and hot pixels.
 */
export async function linkFrames(lights: readonly Plane[], pool: WorkerPool, signal?: AbortSignal): Promise<Link[]> {
  const neighbours = lights.slice(1).map((_, i) => [i, i + 1] as const);
  const locked = await lockAll(lights, neighbours, pool, signal);
  const drift = commonDrift(locked, lights[0]!);
  const links = locked.flatMap((pair) => choose(pair, drift, lights[0]!));
  const joined = new Set(links.map((link) => link.fixed));
  const bridges = neighbours.flatMap(([i]) =>
    joined.has(i)
      ? []
      : ([
          [i - 1, i + 1],
          [i, i + 2],
          [i - 1, i + 2],
        ] as const),
  );
  const inside = bridges.filter(([a, b]) => a >= 0 && b < lights.length);
  const bridged = await lockAll(lights, inside, pool, signal);
  return [...links, ...bridged.flatMap((pair) => choose(pair, drift, lights[0]!))];
}

async function lockAll(
  lights: readonly Plane[],
  pairs: readonly (readonly [number, number])[],
  pool: WorkerPool,
  signal?: AbortSignal,
): Promise<Candidates[]> {
  const inputs = pairs.map(([fixed, moving]) => ({
    fixed: { light: lights[fixed]! },
    moving: { light: lights[moving]! },
    settings: LOCK_DEFAULTS,
  }));
  const found = await pool.map(lockTask, inputs, { signal });
  return pairs.map(([fixed, moving], k) => ({ fixed, moving, found: found[k]!.filter(believable) }));
}

/** Whether a lock may be looked at: clear of what chance gives. */
export function believable(candidate: LockCandidate): boolean {
  return candidate.significance >= LEAST_SIGNIFICANCE && candidate.correlation >= LEAST_CORRELATION;
}

/** Median of the best locks, each counted by its significance; undefined when nothing locks. */
function commonDrift(pairs: readonly Candidates[], frame: Plane): Drift | undefined {
  const best = pairs.flatMap(({ fixed, moving, found }) => {
    const top = found[0];
    if (!top) return [];
    const { x, y } = shiftOf(top.pose, frame);
    return [{ x: x / (moving - fixed), y: y / (moving - fixed), significance: top.significance }];
  });
  if (best.length === 0) return undefined;
  const weights = best.map((b) => b.significance);
  return {
    x: weightedMedian(
      best.map((b) => b.x),
      weights,
    ),
    y: weightedMedian(
      best.map((b) => b.y),
      weights,
    ),
    significance: weightedMedian(
      weights,
      weights.map(() => 1),
    ),
  };
}

/** Shares of the frame's width and of the drift by which a pair may differ from the common drift: tilt, uneven timing. */
const NEAR_WIDTH = 0.02;
const NEAR_DRIFT = 0.15;
/** A lock that disagrees needs this share of the usual significance. */
const BOLD_SHARE = 0.5;
/** A drift below this share of the common one is the sensor's own pattern, where the body does move. */
const STILL_SHARE = 0.25;

/** The candidate that agrees with the common drift; else a bold one, as after a bump, unless it stands still. */
function choose({ fixed, moving, found }: Candidates, drift: Drift | undefined, frame: Plane): Link[] {
  if (!drift) return [];
  const expected = { x: drift.x * (moving - fixed), y: drift.y * (moving - fixed) };
  const length = Math.hypot(expected.x, expected.y);
  const off = (c: LockCandidate): number => {
    const { x, y } = shiftOf(c.pose, frame);
    return Math.hypot(x - expected.x, y - expected.y);
  };
  const near = found.find((c) => off(c) <= NEAR_WIDTH * frame.width + NEAR_DRIFT * length);
  if (near) return [{ fixed, moving, pose: near.pose }];
  const top = found[0];
  if (!top || top.significance < BOLD_SHARE * drift.significance) return [];
  const { x, y } = shiftOf(top.pose, frame);
  const still = length > NEAR_WIDTH * frame.width && Math.hypot(x, y) < STILL_SHARE * length;
  return still ? [] : [{ fixed, moving, pose: top.pose }];
}

function shiftOf(pose: Affine, frame: Plane): { x: number; y: number } {
  const cx = (frame.width - 1) / 2;
  const cy = (frame.height - 1) / 2;
  return { x: applyX(pose, cx, cy) - cx, y: applyY(pose, cx, cy) - cy };
}

function weightedMedian(values: readonly number[], weights: readonly number[]): number {
  const order = values.map((value, i) => ({ value, weight: weights[i]! })).sort((a, b) => a.value - b.value);
  const half = order.reduce((sum, o) => sum + o.weight, 0) / 2;
  let sum = 0;
  for (const { value, weight } of order) {
    sum += weight;
    if (sum >= half) return value;
  }
  return Number.NaN;
}
