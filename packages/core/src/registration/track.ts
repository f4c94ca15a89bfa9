import { type Affine, applyX, applyY, compose, invert } from '../compute/affine.js';
import type { Plane } from '../compute/image.js';
import type { WorkerPool } from '../compute/pool.js';
import type { LeftOut } from '../job/errors.js';
import { LOCK_DEFAULTS, type LockCandidate } from './lock.js';
import { lockTask, measureTask } from './pair-tasks.js';
import { PATCH_DEFAULTS } from './patches.js';
import { type FramePair, type SolvedPath, solvePath } from './path.js';

/** One frame of a pass as registration sees it, planes in shared memory. */
export interface TrackFrame {
  /** Its place in the recording, counted from 0; the path is smooth in this number. */
  readonly index: number;
  /** Name for reports. */
  readonly item: string;
  readonly light: Plane;
  readonly detail: Plane;
}

/** Why a frame did not take part. */
export type TrackLoss = 'not-registered';

/** A pass whose frames lie on one grid. */
export interface Track extends SolvedPath {
  readonly leftOut: readonly LeftOut<TrackLoss>[];
}

/** A lock is believed from this significance on (see {@link LockCandidate}); chance stays below 6 in the rehearsals. */
export const LEAST_SIGNIFICANCE = 9;
/** And from this correlation of the detail over the overlap on. */
export const LEAST_CORRELATION = 0.2;

/** What was measured between the frames of one pass. */
export interface PassPairs {
  readonly pairs: readonly FramePair[];
  /** Indices of the frames that can be placed. */
  readonly frames: readonly number[];
  readonly leftOut: readonly LeftOut<TrackLoss>[];
}

/**
 * Measures how the frames of one pass lie on each other: neighbours are locked by correlation, linked frames 1, 2, 4,
 * 8 … apart are measured patch by patch. Frames that lock to nothing are left out.
 */
export async function measurePass(
  frames: readonly TrackFrame[],
  pool: WorkerPool,
  signal?: AbortSignal,
): Promise<PassPairs> {
  const links = await linkNeighbours(frames, pool, signal);
  const linked = largestGroup(frames.length, links);
  const order = [...linked].sort((a, b) => a - b);
  const pairs = await measurePairs(frames, order, chain(links, linked), pool, signal);
  const measured = new Set(pairs.flatMap((pair) => [pair.fixed, pair.moving]));
  // Where nothing could be measured, one frame still makes a strip.
  const alone = pairs.length === 0 ? order[Math.floor(order.length / 2)] : undefined;
  const kept: number[] = [];
  const leftOut: LeftOut<TrackLoss>[] = [];
  frames.forEach((frame, i) => {
    if (i === alone || measured.has(frame.index)) kept.push(frame.index);
    else leftOut.push({ item: frame.item, reason: 'not-registered', detail: detailOf(linked.has(i)) });
  });
  return { pairs, frames: kept, leftOut };
}

function detailOf(linked: boolean): string {
  return linked
    ? 'has too little detail in common with its neighbours to be measured'
    : 'shows no ground in common with its neighbours that could be recognised';
}

/** {@link measurePass}, then the way of that pass alone. */
export async function trackPass(frames: readonly TrackFrame[], pool: WorkerPool, signal?: AbortSignal): Promise<Track> {
  const { pairs, frames: kept, leftOut } = await measurePass(frames, pool, signal);
  const { width, height } = frames[0]!.light;
  return { ...solvePath(pairs, kept, width, height), leftOut };
}

/** Rough relation of two frames by position in the list: moving px -> fixed px. */
interface Link {
  readonly fixed: number;
  readonly moving: number;
  readonly pose: Affine;
}

async function linkNeighbours(frames: readonly TrackFrame[], pool: WorkerPool, signal?: AbortSignal): Promise<Link[]> {
  const links = await lockAll(
    frames,
    frames.slice(1).map((_, i) => [i, i + 1] as const),
    pool,
    signal,
  );
  const joined = new Set(links.flatMap((link) => [`${link.fixed}-${link.moving}`]));
  const bridges: (readonly [number, number])[] = [];
  for (let i = 0; i + 1 < frames.length; i++) {
    if (joined.has(`${i}-${i + 1}`)) continue;
    for (const [a, b] of [
      [i - 1, i + 1],
      [i, i + 2],
      [i - 1, i + 2],
    ] as const) {
      if (a >= 0 && b < frames.length) bridges.push([a, b]);
    }
  }
  return [...links, ...(await lockAll(frames, bridges, pool, signal))];
}

async function lockAll(
  frames: readonly TrackFrame[],
  pairs: readonly (readonly [number, number])[],
  pool: WorkerPool,
  signal?: AbortSignal,
): Promise<Link[]> {
  const inputs = pairs.map(([i, j]) => ({
    fixed: { light: frames[i]!.light },
    moving: { light: frames[j]!.light },
    settings: LOCK_DEFAULTS,
  }));
  const found = await pool.map(lockTask, inputs, signal ? { signal } : {});
  return pairs.flatMap(([fixed, moving], k) => {
    const best = found[k]![0];
    return best && believable(best) ? [{ fixed, moving, pose: best.pose }] : [];
  });
}

/** Whether a lock may be taken for true. */
export function believable(candidate: LockCandidate): boolean {
  return candidate.significance >= LEAST_SIGNIFICANCE && candidate.correlation >= LEAST_CORRELATION;
}

/** The largest set of frames that links join, by position. */
function largestGroup(count: number, links: readonly Link[]): Set<number> {
  const root = Array.from({ length: count }, (_, i) => i);
  const find = (i: number): number => (root[i] === i ? i : find(root[i]!));
  for (const link of links) root[find(link.fixed)] = find(link.moving);
  const groups = new Map<number, number[]>();
  for (let i = 0; i < count; i++) groups.set(find(i), [...(groups.get(find(i)) ?? []), i]);
  const largest = [...groups.values()].sort((a, b) => b.length - a.length)[0] ?? [];
  return new Set(largest);
}

/** Rough poses of the linked frames in the space of the first of them. */
function chain(links: readonly Link[], linked: ReadonlySet<number>): Map<number, Affine> {
  const poses = new Map<number, Affine>();
  const first = Math.min(...linked);
  poses.set(first, { xx: 1, xy: 0, yx: 0, yy: 1, tx: 0, ty: 0 });
  for (let grown = true; grown; ) {
    grown = false;
    for (const { fixed, moving, pose } of links) {
      const known = poses.get(fixed);
      const other = poses.get(moving);
      if (known && !other && linked.has(moving)) {
        poses.set(moving, compose(known, pose));
        grown = true;
      } else if (!known && other && linked.has(fixed)) {
        poses.set(fixed, compose(other, invert(pose)));
        grown = true;
      }
    }
  }
  return poses;
}

/** Share of a frame's width and height that two frames must have in common to be measured against each other. */
const LEAST_COMMON_SIDE = 0.25;

async function measurePairs(
  frames: readonly TrackFrame[],
  order: readonly number[],
  rough: ReadonlyMap<number, Affine>,
  pool: WorkerPool,
  signal?: AbortSignal,
): Promise<FramePair[]> {
  const wanted: { fixed: number; moving: number; pose: Affine }[] = [];
  for (let apart = 1; apart < order.length; apart *= 2) {
    for (let k = 0; k + apart < order.length; k++) {
      const fixed = order[k]!;
      const moving = order[k + apart]!;
      const pose = compose(invert(rough.get(fixed)!), rough.get(moving)!);
      if (common(pose, frames[moving]!.light) >= LEAST_COMMON_SIDE) wanted.push({ fixed, moving, pose });
    }
  }
  const inputs = wanted.map(({ fixed, moving, pose }) => ({
    fixed: { detail: frames[fixed]!.detail },
    moving: { detail: frames[moving]!.detail },
    pose,
    freedom: 'rigid' as const,
    patches: PATCH_DEFAULTS,
  }));
  const measured = await pool.map(measureTask, inputs, signal ? { signal } : {});
  return wanted.flatMap(({ fixed, moving }, k) => {
    const measure = measured[k];
    const good = measure && measure.shifts.length >= LEAST_PATCHES;
    return good ? [{ fixed: frames[fixed]!.index, moving: frames[moving]!.index, measure }] : [];
  });
}

/** A pair with fewer patches says too little to be weighed. */
const LEAST_PATCHES = 4;

function common(pose: Affine, frame: Plane): number {
  const dx = Math.abs(applyX(pose, frame.width / 2, frame.height / 2) - frame.width / 2);
  const dy = Math.abs(applyY(pose, frame.width / 2, frame.height / 2) - frame.height / 2);
  return Math.min(1 - dx / frame.width, 1 - dy / frame.height);
}
