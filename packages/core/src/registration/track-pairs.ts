import { type Affine, applyX, applyY, compose, IDENTITY, invert, translation } from '../compute/affine.js';
import type { Plane } from '../compute/image.js';
import type { WorkerPool } from '../compute/pool.js';
import type { Link } from './links.js';
import { measureTask, type PairMeasure } from './pair-tasks.js';
import { PATCH_DEFAULTS } from './patches.js';
import { type FramePair, type Sighting, sightingsOfPairs } from './path-model.js';
import type { TrackFrame } from './track.js';

/** What the pair measurements of one pass have in common. */
export interface PairBench {
  readonly frames: readonly TrackFrame[];
  /** What of a frame may be used, in shared memory. */
  readonly coverage: Plane;
  readonly pool: WorkerPool;
  readonly signal: AbortSignal | undefined;
}

/** Way of the linked frames from neighbour to neighbour. */
export interface FirstWay {
  /** Positions of the frames on it, ascending. */
  readonly order: readonly number[];
  readonly pairs: readonly FramePair[];
  /** Rough pose of each by its position, shifts only. */
  readonly poses: ReadonlyMap<number, Affine>;
  readonly sightings: readonly Sighting[];
}

/** Step of the first way: its rough pose, and what was measured. */
interface Step {
  readonly from: number;
  readonly to: number;
  readonly pose: Affine;
  readonly measure: PairMeasure | undefined;
}

/**
 * Measures every linked frame (positions in `order`, ascending) against the one before it. Where that fails the lock
 * stands in, but not across a hole in the recording: there the longest part goes on alone.
 */
export async function measureNeighbours(
  bench: PairBench,
  order: readonly number[],
  links: readonly Link[],
  onDone: (done: number) => void,
): Promise<FirstWay> {
  const rough = chain(links, order);
  const wanted = order.slice(1).map((moving, k) => {
    const fixed = order[k]!;
    return { fixed, moving, pose: compose(invert(rough.get(fixed)!), rough.get(moving)!) };
  });
  const measures = await measureLinks(bench, wanted, onDone);
  const { frames } = bench;
  const parts: Step[][] = [[]];
  wanted.forEach(({ fixed, moving, pose }, k) => {
    const measure = measures[k];
    if (!measure && frames[moving]!.index - frames[fixed]!.index > 1) parts.push([]);
    else parts.at(-1)!.push({ from: fixed, to: moving, pose: measure?.pose ?? pose, measure });
  });
  const steps = parts.reduce((most, part) => (part.length > most.length ? part : most));
  return wayOf(frames, steps[0]?.from ?? order[0]!, steps);
}

/** Rough poses of the linked frames, by position, in the space of the first of them. */
function chain(links: readonly Link[], order: readonly number[]): Map<number, Affine> {
  const byFrame = new Map<number, Link[]>();
  for (const link of links) {
    for (const i of [link.fixed, link.moving]) byFrame.set(i, [...(byFrame.get(i) ?? []), link]);
  }
  const poses = new Map<number, Affine>([[order[0]!, IDENTITY]]);
  const queue = [order[0]!];
  for (const i of queue) {
    for (const { fixed, moving, pose } of byFrame.get(i) ?? []) {
      const other = fixed === i ? moving : fixed;
      if (poses.has(other)) continue;
      poses.set(other, compose(poses.get(i)!, fixed === i ? pose : invert(pose)));
      queue.push(other);
    }
  }
  return poses;
}

async function measureLinks(
  { frames, coverage, pool, signal }: PairBench,
  wanted: readonly Link[],
  onDone: (done: number) => void = () => {},
): Promise<(PairMeasure | undefined)[]> {
  const inputs = wanted.map(({ fixed, moving, pose }) => ({
    kind: 'pair' as const,
    fixed: frames[fixed]!.detail,
    moving: frames[moving]!.detail,
    coverage,
    pose,
    freedom: 'rigid' as const,
    patches: PATCH_DEFAULTS,
  }));
  const measures = await pool.map(measureTask, inputs, { signal, onDone });
  return measures.map((measure) => (measure && usable(measure) ? measure : undefined));
}

function usable({ shifts, correlation }: PairMeasure): boolean {
  return shifts.length >= LEAST_PATCHES && correlation >= LEAST_PAIR_CORRELATION;
}

/** A pair with fewer patches says too little to be weighed. */
const LEAST_PATCHES = 4;
/** Detail of a pair that agrees less than this over the overlap is not the same ground. */
const LEAST_PAIR_CORRELATION = 0.15;

function pairsOf(
  frames: readonly TrackFrame[],
  links: readonly Link[],
  measures: readonly (PairMeasure | undefined)[],
): FramePair[] {
  return links.flatMap(({ fixed, moving }, k) => {
    const measure = measures[k];
    return measure ? [{ fixed: frames[fixed]!.index, moving: frames[moving]!.index, measure }] : [];
  });
}

/** How far a lock that could not be refined is trusted, px. */
const ROUGH_PX = 5;

function wayOf(frames: readonly TrackFrame[], first: number, steps: readonly Step[]): FirstWay {
  const { light } = frames[0]!;
  const at = centreOf(IDENTITY, light);
  const links = steps.map(({ from, to, pose }) => ({ fixed: from, moving: to, pose }));
  const pairs = pairsOf(
    frames,
    links,
    steps.map((step) => step.measure),
  );
  const sightings = sightingsOfPairs(pairs);
  // Locks are good to a few px each, which would add up along the chain: go on from what was measured.
  const poses = new Map([[first, IDENTITY]]);
  steps.forEach(({ from, to, pose, measure }, k) => {
    const before = centreOf(pose, light);
    poses.set(to, compose(poses.get(from)!, translation(before.x - at.x, before.y - at.y)));
    if (measure) return;
    const point = { ground: -1 - k, u: 0, v: 0, noise: ROUGH_PX ** 2, measure: -1 - k };
    sightings.push({ ...point, ...before, frame: frames[from]!.index }, { ...point, ...at, frame: frames[to]!.index });
  });
  return { order: [...poses.keys()], pairs, poses, sightings };
}

function centreOf(pose: Affine, { width, height }: Omit<Plane, 'data'>): { x: number; y: number } {
  const [cx, cy] = [(width - 1) / 2, (height - 1) / 2];
  return { x: applyX(pose, cx, cy), y: applyY(pose, cx, cy) };
}
