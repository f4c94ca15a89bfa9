import type { Affine } from '../compute/affine.js';
import type { PlaneSource } from '../compute/plane-source.js';
import type { WorkerPool } from '../compute/pool.js';
import type { LockCandidate } from './lock.js';
import { type Candidates, type LinkFrame, lockAll, shiftOf } from './lock-frames.js';

/** Rough relation of two frames by position in their list: moving px -> fixed px. */
export interface Link {
  readonly fixed: number;
  readonly moving: number;
  readonly pose: Affine;
}

/** The drift that most pairs agree on, px a frame, and how far from chance their locks are (median). */
interface Drift {
  readonly x: number;
  readonly y: number;
  readonly significance: number;
}

/**
 * Links the frames of a pass, given in the order of the recording: neighbours are locked, and where that fails, frames
 * two or three apart; then the ends of holes that are left. In a locked-off pass all pairs show the same drift: the one
 * that most locks agree on decides between the candidates of a doubtful pair, so that a frame with little ground does
 * not lock to dust and hot pixels.
 */
export async function linkFrames(
  frames: readonly LinkFrame[],
  pool: WorkerPool,
  signal?: AbortSignal,
  onDone?: (done: number) => void,
): Promise<Link[]> {
  const lights = frames.map((frame) => frame.light);
  if (lights.length < 2) return [];
  const neighbours = lights.slice(1).map((_, i) => [i, i + 1] as const);
  const locked = await lockAll(frames, neighbours, pool, signal, onDone);
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
  const bridged = await lockAll(frames, inside, pool, signal);
  links.push(...bridged.flatMap((pair) => choose(pair, drift, lights[0]!)));
  const ends = endsToJoin(frames, links, drift);
  const across = await lockAll(frames, ends, pool, signal);
  return [...links, ...across.flatMap((pair) => choose(pair, drift, lights[0]!))];
}

/** Frames at either end of a hole that are tried on each other, each with each. */
const JOINING = 3;
/** Share of a frame's width that must be common to both sides of a hole. */
const LEAST_JOINT = 0.2;

/** Pairs across the holes that links leave in the recording, where the drift says that both sides show common ground. */
function endsToJoin(
  frames: readonly LinkFrame[],
  links: readonly Link[],
  drift: Drift | undefined,
): (readonly [number, number])[] {
  if (!drift) return [];
  const groups = groupsOf(frames.length, links)
    .filter((group) => group.length >= JOINING)
    .sort((a, b) => a[0]! - b[0]!);
  const length = Math.hypot(drift.x, drift.y);
  return groups.slice(1).flatMap((after, k) =>
    groups[k]!.slice(-JOINING).flatMap((i) =>
      after.slice(0, JOINING).flatMap((j) => {
        const way = length * (frames[j]!.index - frames[i]!.index);
        return j > i && way < (1 - LEAST_JOINT) * frames[0]!.light.width ? [[i, j] as const] : [];
      }),
    ),
  );
}

/** Sets of frames that links join, by position, each ascending. */
export function groupsOf(count: number, links: readonly Pick<Link, 'fixed' | 'moving'>[]): number[][] {
  const root = Array.from({ length: count }, (_, i) => i);
  const find = (i: number): number => {
    let at = i;
    while (root[at] !== at) at = root[at]!;
    for (let next = root[i]!; root[i] !== at; i = next, next = root[i]!) root[i] = at;
    return at;
  };
  for (const link of links) root[find(link.fixed)] = find(link.moving);
  const groups = new Map<number, number[]>();
  for (let i = 0; i < count; i++) {
    const at = find(i);
    const known = groups.get(at);
    if (known) known.push(i);
    else groups.set(at, [i]);
  }
  return [...groups.values()];
}

/** Median of the best locks, each counted by its significance; undefined when nothing locks. */
function commonDrift(pairs: readonly Candidates[], frame: PlaneSource): Drift | undefined {
  const best = pairs.flatMap(({ steps, found }) => {
    const top = found[0];
    if (!top) return [];
    const { x, y } = shiftOf(top.pose, frame);
    return [{ x: x / steps, y: y / steps, significance: top.significance }];
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
function choose({ fixed, moving, steps, found }: Candidates, drift: Drift | undefined, frame: PlaneSource): Link[] {
  if (!drift) return [];
  const expected = { x: drift.x * steps, y: drift.y * steps };
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
