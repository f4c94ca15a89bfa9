import type { Affine } from '../compute/affine.js';
import { createPlane } from '../compute/image.js';
import type { JobContext } from '../job/context.js';
import type { LeftOut } from '../job/errors.js';
import { runStage } from '../job/stage.js';
import type { GradedFrame, GradedPass } from '../quality/grade-stage.js';
import { relativeSharpness } from '../quality/sharpness.js';
import { detailTask } from './detail-task.js';
import { type SolvedPath, solvePaths } from './path.js';
import { measurePass, type PassPairs, type TrackLoss } from './track.js';

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
}

/** Figures of the path, at proxy scale. */
export interface TrackSummary {
  readonly rotationDegPerFrame: number;
  readonly squeezePerFrame: number;
  readonly tiltPx: number;
  readonly warpPx: number;
  /** Number of frame pairs that were measured, and their median residual, px per axis. */
  readonly pairs: number;
  readonly pairResidualPx: number;
}

/** Below this sharpness against its neighbours a frame only softens the strip. */
const LEAST_SHARPNESS = 0.5;
/** Weight grows with this power of the sharpness, up to that of a frame of this sharpness. */
const WEIGHT_POWER = 1;
const FULL_WEIGHT_AT = 1.3;

/** Stages: measures the frames of each pass against each other, then solves the ways of all passes together. */
export async function trackStage(context: JobContext, passes: readonly GradedPass[]): Promise<TrackedPass[]> {
  const measured: PassPairs[] = [];
  for (const pass of passes) measured.push(await pairsStage(context, pass));
  const artefact = await runStage(context, {
    name: 'track',
    key: passes.map(identity),
    run: async () => {
      const inputs = passes.map((pass, k) => ({ ...measured[k]!, ...sizeOf(pass) }));
      return solvePaths(inputs).map((path, k) => summarise(passes[k]!, path));
    },
  });
  return passes.map((pass, k) => weigh(pass, artefact.result[k]!, measured[k]!.leftOut));
}

async function pairsStage(context: JobContext, graded: GradedPass): Promise<PassPairs> {
  const { frames } = graded;
  const artefact = await runStage(context, {
    name: 'pairs',
    subject: graded.pass.name,
    key: identity(graded),
    run: async () => {
      const details = frames.map((f) => createPlane(f.proxy.width, f.proxy.height, true));
      const inputs = frames.map((f, i) => ({ light: f.proxy, detail: details[i]! }));
      await context.pool.map(detailTask, inputs, { signal: context.signal });
      const planes = frames.map((f, i) => ({ index: f.index, item: f.item, light: f.proxy, detail: details[i]! }));
      return measurePass(planes, context.pool, context.signal);
    },
  });
  return artefact.result;
}

function identity({ frames, binFactor, curve }: GradedPass): unknown {
  return { frames: frames.map((f) => [f.index, f.sha256]), binFactor, curve };
}

function sizeOf({ frames }: GradedPass): { widthPx: number; heightPx: number } {
  return { widthPx: frames[0]!.proxy.width, heightPx: frames[0]!.proxy.height };
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
      pairs: solved.pairResidualPx.length,
      pairResidualPx: median(solved.pairResidualPx),
    },
  };
}

function weigh(graded: GradedPass, found: PathRecord, losses: readonly LeftOut<TrackLoss>[]): TrackedPass {
  const byIndex = new Map(graded.frames.map((f) => [f.index, f]));
  const leftOut: LeftOut<TrackStageLoss>[] = [...losses];
  const frames: TrackedFrame[] = [];
  for (const { index, pose, sharpness, offPathPx } of found.frames) {
    const frame = byIndex.get(index)!;
    if (sharpness < LEAST_SHARPNESS) {
      leftOut.push({
        item: frame.item,
        reason: 'blurred',
        detail: `sharpness ${sharpness.toFixed(2)} of the mean on the same ground, at least ${LEAST_SHARPNESS} expected`,
      });
      continue;
    }
    const weight = Math.min(1, (sharpness / FULL_WEIGHT_AT) ** WEIGHT_POWER);
    frames.push({ ...frame, pose, sharpness, weight, offPathPx });
  }
  return { graded, frames, leftOut, path: found.path };
}

function median(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted.length === 0 ? 0 : sorted[Math.floor(sorted.length / 2)]!;
}
