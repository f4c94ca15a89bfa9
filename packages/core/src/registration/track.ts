import { createPlane, type Plane } from '../compute/image.js';
import { type PlaneSource, wholePlane } from '../compute/plane-source.js';
import type { WorkerPool } from '../compute/pool.js';
import type { LeftOut } from '../job/errors.js';
import { groupsOf, linkFrames } from './links.js';
import { type SolvedPath, solvePath } from './path.js';
import { driftOfPairs, type PathInput, type Sighting } from './path-model.js';
import { borderPx } from './track-model.js';
import { findLostSteps, timesOf, waypointsOf } from './track-model-cadence.js';
import { coarseLight, findDoubled, findEmpty } from './track-model-faults.js';
import { GROUND_PX, lossesAfter, type PassState, refineByModel } from './track-model-rounds.js';
import { measureNeighbours } from './track-pairs.js';

/** One frame of a pass as registration sees it. */
export interface TrackFrame {
  /** Its place in the recording, counted from 0; the path is smooth in this number. */
  readonly index: number;
  /** Name for reports. */
  readonly item: string;
  readonly light: PlaneSource;
  readonly detail: PlaneSource;
}

/**
 * Why a frame did not take part:
 * - `doubled`: it is the same picture as the frame before, noise included;
 * - `empty`: nothing stands out of its light, where others of the pass show the body;
 * - `clouded`: well under the light of the pass's better frames comes from the same ground;
 * - `bumped`: it lies far off the smooth path on which the others scatter;
 * - `not-registered`: no ground in common with the others could be recognised or measured.
 */
export type TrackLoss = 'doubled' | 'empty' | 'clouded' | 'bumped' | 'not-registered';

/** A gap in the cadence of a recording, as the drift shows it. */
export interface TrackGap {
  /** The last frame before the gap, and the first after it. */
  readonly after: string;
  readonly before: string;
  /** Number of usual steps that are missing; −1 where a doubled frame was put in between. */
  readonly lost: number;
}

/** A pass whose frames lie on one grid. */
export interface Track extends SolvedPath {
  readonly leftOut: readonly LeftOut<TrackLoss>[];
  readonly gaps: readonly TrackGap[];
}

/** What was measured of the frames of one pass; solved with those of the other passes. */
export interface PassMeasure {
  /** The frame that is not turned on the strip of the model; null for a pass of a single frame. */
  readonly reference: { readonly frame: number; readonly time: number } | null;
  readonly sightings: readonly Sighting[];
  /** Indices of the frames that can be placed, ascending. */
  readonly frames: readonly number[];
  /** Time of each in usual steps. */
  readonly times: readonly number[];
  readonly driftPx: number;
  readonly leftOut: readonly LeftOut<TrackLoss>[];
  readonly gaps: readonly TrackGap[];
}

/** Steps that {@link measurePass} reports for each frame. */
export const STEPS_PER_FRAME = 5;

/**
 * Measures how the frames of one pass lie on their common ground: neighbours are locked by correlation and measured
 * patch by patch, which gives a first way and its cadence; then every frame is measured against the running model of
 * the pass, the mean of all others, three times. The cost grows with the number of frames. Frames that fit nothing, or
 * that are ruined, are left out with a reason.
 */
export async function measurePass(
  frames: readonly TrackFrame[],
  pool: WorkerPool,
  signal?: AbortSignal,
  onStep: (done: number) => void = () => {},
): Promise<PassMeasure> {
  const coarse = frames.map((frame) => coarseLight(wholePlane(frame.light)));
  const doubled = findDoubled(frames.map((frame) => frame.light));
  const empty = findEmpty(coarse);
  const leftOut = new Map<number, LeftOut<TrackLoss>>();
  frames.forEach(({ item }, i) => {
    const detail = empty[i] ? 'nothing stands out of its light' : 'is the same picture as the frame before it';
    if (doubled[i] || empty[i]) leftOut.set(i, { item, reason: empty[i] ? 'empty' : 'doubled', detail });
  });
  const some = frames.flatMap((_, i) => (leftOut.has(i) ? [] : [i]));
  const seen = some.length > 0 ? some : [Math.floor(frames.length / 2)];
  leftOut.delete(seen[0]!);
  const links = (
    await linkFrames(
      seen.map((i) => frames[i]!),
      pool,
      signal,
      onStep,
    )
  ).map((link) => ({ ...link, fixed: seen[link.fixed]!, moving: seen[link.moving]! }));
  const linked = groupsOf(frames.length, links)
    .filter((group) => seen.includes(group[0]!))
    .reduce((most, group) => (group.length > most.length ? group : most), []);
  const coverage = innerCoverage(frames[0]!.light);
  const bench = { frames, coverage, pool, signal };
  const start = await measureNeighbours(bench, linked, links, (done) => onStep(frames.length + done));
  const { width: widthPx, height: heightPx } = frames[0]!.light;
  const twins = new Set(frames.flatMap((frame, i) => (doubled[i] ? [frame.index] : [])));
  const rough = new Map([...start.poses].map(([i, pose]) => [frames[i]!.index, pose]));
  const lost = findLostSteps(waypointsOf(rough, twins, widthPx, heightPx));
  const times = timesOf(
    frames.map((frame) => frame.index),
    lost,
  );
  const input: PathInput = {
    sightings: start.sightings,
    groundPx: Number.POSITIVE_INFINITY,
    frames: start.order.map((i) => frames[i]!.index),
    times,
    driftPx: driftOfPairs(start.pairs, times, widthPx, heightPx),
    widthPx,
    heightPx,
  };
  const first: PassState = {
    input,
    path: solvePath(input),
    linked: new Set(linked.map((i) => frames[i]!.index)),
    doubled: twins,
    lost,
  };
  const skip = new Set([...leftOut.keys()].map((i) => frames[i]!.index));
  const last = await refineByModel(frames, skip, first, pool, signal, (done) => onStep(2 * frames.length + done));
  const { kept, losses } = lossesAfter(frames, coarse, skip, last);
  const { reference } = last.input;
  return {
    reference: reference === undefined ? null : { frame: reference, time: last.input.times.get(reference)! },
    sightings: last.input.sightings.filter((s) => kept.includes(s.frame)),
    frames: kept,
    times: kept.map((index) => last.input.times.get(index)!),
    driftPx: last.input.driftPx,
    leftOut: frames.flatMap((frame, i) => leftOut.get(i) ?? losses.get(frame.index) ?? []),
    gaps: gapsOf(frames, last),
  };
}

/** A measured pass, ready to be solved with others. */
export function pathInputOf(measured: PassMeasure, widthPx: number, heightPx: number): PathInput {
  const times = new Map(measured.frames.map((frame, i) => [frame, measured.times[i]!]));
  const { reference, sightings, frames, driftPx } = measured;
  const common = { sightings, frames, driftPx, times, widthPx, heightPx };
  if (!reference) return { ...common, groundPx: Number.POSITIVE_INFINITY };
  times.set(reference.frame, reference.time);
  return { ...common, groundPx: GROUND_PX, reference: reference.frame };
}

/** {@link measurePass}, then the way of that pass alone. */
export async function trackPass(frames: readonly TrackFrame[], pool: WorkerPool, signal?: AbortSignal): Promise<Track> {
  const measured = await measurePass(frames, pool, signal);
  const { width, height } = frames[0]!.light;
  return { ...solvePath(pathInputOf(measured, width, height)), leftOut: measured.leftOut, gaps: measured.gaps };
}

function gapsOf(frames: readonly TrackFrame[], { input, lost }: PassState): TrackGap[] {
  const items = new Map(frames.map((frame) => [frame.index, frame.item]));
  return lost.map((step) => {
    const before = input.frames.filter((index) => index < step.before).at(-1)!;
    return { after: items.get(before)!, before: items.get(step.before)!, lost: step.lost };
  });
}

/** Near its border a frame's detail is made up by mirroring: covered is what lies inside, in shared memory. */
export function innerCoverage({ width, height }: Omit<Plane, 'data'>): Plane {
  const border = borderPx(width, height);
  const coverage = createPlane(width, height, true);
  for (let y = border; y < height - border; y++) {
    coverage.data.fill(1, y * width + border, (y + 1) * width - border);
  }
  return coverage;
}
