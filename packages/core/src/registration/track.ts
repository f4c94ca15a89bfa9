import { type Affine, applyX, applyY, compose, IDENTITY, invert, translation } from '../compute/affine.js';
import { createPlane, type Plane } from '../compute/image.js';
import type { WorkerPool } from '../compute/pool.js';
import type { LeftOut } from '../job/errors.js';
import { BAND_PASS_DEFAULTS } from './band-pass.js';
import { type Link, linkFrames } from './links.js';
import { measureTask, type PairMeasure } from './pair-tasks.js';
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
  const links = await linkFrames(
    frames.map((frame) => frame.light),
    pool,
    signal,
  );
  const linked = largestGroup(frames.length, links);
  const order = [...linked].sort((a, b) => a - b);
  const pairs = await measurePairs(frames, order, chain(links, linked), pool, signal);
  const slot = new Map(frames.map((frame, i) => [frame.index, i]));
  const joints = pairs.map((pair) => ({ fixed: slot.get(pair.fixed)!, moving: slot.get(pair.moving)! }));
  const middle = order[Math.floor(order.length / 2)]!;
  const measured = joints.length > 0 ? largestGroup(frames.length, joints) : new Set([middle]);
  const kept: number[] = [];
  const leftOut: LeftOut<TrackLoss>[] = [];
  frames.forEach((frame, i) => {
    if (measured.has(i)) kept.push(frame.index);
    else leftOut.push({ item: frame.item, reason: 'not-registered', detail: detailOf(linked.has(i)) });
  });
  const together = pairs.filter((pair) => kept.includes(pair.fixed) && kept.includes(pair.moving));
  return { pairs: together, frames: kept, leftOut };
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

/** The largest set of frames that links join, by position. */
function largestGroup(count: number, links: readonly Pick<Link, 'fixed' | 'moving'>[]): Set<number> {
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
  const coverage = innerCoverage(frames[0]!.light);
  const pairs: FramePair[] = [];
  let poses = rough;
  for (let apart = 1; apart < order.length; apart *= 2) {
    const wanted = pairsApart(frames, order, poses, apart);
    const inputs = wanted.map(({ fixed, moving, pose }) => ({
      fixed: { detail: frames[fixed]!.detail, coverage },
      moving: { detail: frames[moving]!.detail, coverage },
      pose,
      freedom: 'rigid' as const,
      patches: PATCH_DEFAULTS,
    }));
    const measured = await pool.map(measureTask, inputs, { signal });
    const good = wanted.flatMap((link, k) => (usable(measured[k]!) ? [{ link, measure: measured[k]! }] : []));
    pairs.push(
      ...good.map(({ link, measure }) => ({
        fixed: frames[link.fixed]!.index,
        moving: frames[link.moving]!.index,
        measure,
      })),
    );
    // Locks are good to a few px each, which would add up along the chain: go on from what was measured.
    if (apart === 1) poses = follow(order, rough, good, frames[0]!.light);
  }
  return pairs;
}

function pairsApart(
  frames: readonly TrackFrame[],
  order: readonly number[],
  poses: ReadonlyMap<number, Affine>,
  apart: number,
): Link[] {
  const wanted: Link[] = [];
  for (let k = 0; k + apart < order.length; k++) {
    const fixed = order[k]!;
    const moving = order[k + apart]!;
    const pose = compose(invert(poses.get(fixed)!), poses.get(moving)!);
    if (common(pose, frames[moving]!.light) >= LEAST_COMMON_SIDE) wanted.push({ fixed, moving, pose });
  }
  return wanted;
}

function usable(measure: PairMeasure | null): boolean {
  return measure !== null && measure.shifts.length >= LEAST_PATCHES && measure.correlation >= LEAST_PAIR_CORRELATION;
}

/** Chains the measured shifts of neighbours; where one was not measured, the rough relation of the two stands in. */
function follow(
  order: readonly number[],
  rough: ReadonlyMap<number, Affine>,
  measured: readonly { readonly link: Link; readonly measure: PairMeasure }[],
  frame: Plane,
): Map<number, Affine> {
  const cx = (frame.width - 1) / 2;
  const cy = (frame.height - 1) / 2;
  const byMoving = new Map(measured.map(({ link, measure }) => [link.moving, measure.pose]));
  const poses = new Map<number, Affine>();
  order.forEach((moving, k) => {
    const before = k > 0 ? order[k - 1]! : moving;
    const step = byMoving.get(moving) ?? compose(invert(rough.get(before)!), rough.get(moving)!);
    const shift = k > 0 ? translation(applyX(step, cx, cy) - cx, applyY(step, cx, cy) - cy) : step;
    poses.set(moving, compose(poses.get(before) ?? IDENTITY, shift));
  });
  return poses;
}

/** A pair with fewer patches says too little to be weighed. */
const LEAST_PATCHES = 4;
/** Detail of a pair that agrees less than this over the overlap is not the same ground. */
const LEAST_PAIR_CORRELATION = 0.15;

function common(pose: Affine, frame: Plane): number {
  const dx = Math.abs(applyX(pose, frame.width / 2, frame.height / 2) - frame.width / 2);
  const dy = Math.abs(applyY(pose, frame.width / 2, frame.height / 2) - frame.height / 2);
  return Math.min(1 - dx / frame.width, 1 - dy / frame.height);
}

/** Near its border a frame's detail is made up by mirroring: covered is what lies two coarse σ inside (less in
 * a small frame, whose overlaps need every patch), in shared memory. */
function innerCoverage({ width, height }: Plane): Plane {
  const border = Math.min(2 * BAND_PASS_DEFAULTS.coarseSigmaPx, Math.floor(Math.min(width, height) / 32));
  const coverage = createPlane(width, height, true);
  for (let y = border; y < height - border; y++) {
    coverage.data.fill(1, y * width + border, (y + 1) * width - border);
  }
  return coverage;
}
