import { readingKey } from '../capture/reading.js';
import type { Affine } from '../compute/affine.js';
import { quantile } from '../compute/quantile.js';
import type { JobContext } from '../job/context.js';
import type { LeftOut } from '../job/errors.js';
import { runStage } from '../job/stage.js';
import { frameKey } from '../quality/frame-key.js';
import type { GradedFrame, GradedPass } from '../quality/grade-stage.js';
import { relativeSharpness } from '../quality/sharpness.js';

import { detailStage, type PassDetails } from './detail-stage.js';
import { type Course, type SolvedPath, solvePaths } from './path.js';
import { measurePass, type PassMeasure, pathInputOf, STEPS_PER_FRAME, type TrackGap, type TrackLoss } from './track.js';

/** Why a frame that could be graded is not stacked. */
export type TrackStageLoss = TrackLoss | 'blurred';

/** A frame with its place in the strip. */
export interface TrackedFrame extends GradedFrame {
  /** Proxy px -> strip px at proxy scale. */
  readonly pose: Affine;
  /** Sharpness against the mean of the frames that show the same ground; see {@link relativeSharpness}. */
  readonly sharpness: number;
  /** Share that it gets in the strip, 0..1, by sharpness. */
  readonly weight: number;
  /** Distance from the pass's smooth path, proxy px. */
  readonly offPathPx: number;
}

/** A pass whose frames lie on one grid. */
export interface TrackedPass {
  readonly graded: GradedPass;
  readonly frames: readonly TrackedFrame[];
  readonly leftOut: readonly LeftOut<TrackStageLoss>[];
  readonly path: TrackSummary;
  /** The smooth path that the frames scatter about, strip px at proxy scale. */
  readonly course: Course;
  /** Where the recording lost steps. */
  readonly gaps: readonly TrackGap[];
  readonly details: PassDetails;
}

/** Figures of the path, at proxy scale; a frame stands for a usual step of the recording. */
export interface TrackSummary {
  readonly rotationDegPerFrame: number;
  readonly squeezePerFrame: number;
  readonly tiltPx: number;
  readonly warpPx: number;
  /** Number of frames that were measured against the model of the others, and their median residual, px per axis. */
  readonly pairs: number;
  readonly pairResidualPx: number;
}

/**
 * Below the first sharpness against its neighbours a frame only softens the strip; below the second where it also falls
 * so many times farther short of the usual than the pass's tenth part does, as one that was smeared by a bump.
 */
const LEAST_SHARPNESS = 0.5;
const LEAST_USUAL_SHARPNESS = 0.7;
const SOFT_PART = 0.1;
const SHORT_TIMES = 3;
/** Weight grows with this power of the sharpness, up to that of a frame of this sharpness. */
const WEIGHT_POWER = 1;
const FULL_WEIGHT_AT = 1.3;

/** Stages: measures the frames of each pass against the model of the others, then solves the ways of all passes together. */
export async function trackStage(context: JobContext, passes: readonly GradedPass[]): Promise<TrackedPass[]> {
  const measured: PassMeasure[] = [];
  const details: PassDetails[] = [];
  for (const pass of passes) details.push(await detailStage(context, pass));
  for (const [k, pass] of passes.entries()) measured.push(await pairsStage(context, pass, details[k]!));
  const artefact = await runStage(context, {
    name: 'track',
    key: passes.map(identity),
    run: async () => {
      const inputs = passes.map((pass, k) => pathInputOf(measured[k]!, ...sizeOf(pass)));
      return solvePaths(inputs).map((path, k) => summarise(passes[k]!, path));
    },
  });
  return passes.map((pass, k) => ({ ...weigh(pass, artefact.result[k]!, measured[k]!), details: details[k]! }));
}

async function pairsStage(context: JobContext, graded: GradedPass, details: PassDetails): Promise<PassMeasure> {
  const { frames } = graded;
  const artefact = await runStage(context, {
    name: 'pairs',
    subject: graded.pass.name,
    key: identity(graded),
    total: frames.length,
    unit: 'frames',
    run: async (handle) => {
      const planes = frames.map(({ index, item, proxy }) => ({
        index,
        item,
        light: proxy,
        detail: details.get(index)!,
      }));
      return measurePass(planes, context.pool, context.signal, (done) => handle.step(done / STEPS_PER_FRAME));
    },
  });
  return artefact.result;
}

function identity({ frames, binFactor, reading }: GradedPass): unknown {
  return { frames: frames.map(frameKey), binFactor, reading: readingKey(reading) };
}

function sizeOf({ frames }: GradedPass): [number, number] {
  return [frames[0]!.proxy.width, frames[0]!.proxy.height];
}

/** A frame's place and sharpness, and the figures of its pass's path, as plain JSON. */
interface PathRecord {
  readonly frames: readonly {
    readonly index: number;
    readonly pose: Affine;
    readonly sharpness: number;
    readonly offPathPx: number;
  }[];
  readonly path: TrackSummary;
  readonly course: Course;
}

function summarise(graded: GradedPass, solved: SolvedPath): PathRecord {
  const placed = graded.frames.filter((f) => solved.poses.has(f.index));
  const sharpness = relativeSharpness(placed.map((f) => ({ pose: solved.poses.get(f.index)!, blocks: f.blocks })));
  return {
    frames: placed.map((f, i) => ({
      index: f.index,
      pose: solved.poses.get(f.index)!,
      sharpness: sharpness[i]!,
      offPathPx: solved.offPathPx.get(f.index)!,
    })),
    path: {
      rotationDegPerFrame: solved.rotationDegPerFrame,
      squeezePerFrame: solved.squeezePerFrame,
      tiltPx: solved.tiltPx,
      warpPx: solved.warpPx,
      pairs: solved.residualPx.size,
      pairResidualPx: median([...solved.residualPx.values()]),
    },
    course: solved.course,
  };
}

function weigh(graded: GradedPass, found: PathRecord, measured: PassMeasure): Omit<TrackedPass, 'details'> {
  const byIndex = new Map(graded.frames.map((f) => [f.index, f]));
  const leftOut: LeftOut<TrackStageLoss>[] = [...measured.leftOut];
  const frames: TrackedFrame[] = [];
  const least = leastSharpness(found.frames.map((f) => f.sharpness));
  for (const { index, pose, sharpness, offPathPx } of found.frames) {
    const frame = byIndex.get(index)!;
    if (sharpness < least) {
      leftOut.push({
        item: frame.item,
        reason: 'blurred',
        detail: `sharpness ${sharpness.toFixed(2)} of the mean on the same ground, at least ${least.toFixed(2)} expected`,
      });
      continue;
    }
    const weight = Math.min(1, (sharpness / FULL_WEIGHT_AT) ** WEIGHT_POWER);
    frames.push({ ...frame, pose, sharpness, weight, offPathPx });
  }
  return { graded, frames, leftOut, path: found.path, course: found.course, gaps: measured.gaps };
}

function leastSharpness(values: readonly number[]): number {
  if (values.length === 0) return LEAST_SHARPNESS;
  const usual = quantile(values, 0.5);
  const short = SHORT_TIMES * (usual - quantile(values, SOFT_PART));
  return Math.max(LEAST_SHARPNESS, Math.min(LEAST_USUAL_SHARPNESS, usual - short));
}

function median(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted.length === 0 ? 0 : sorted[Math.floor(sorted.length / 2)]!;
}
