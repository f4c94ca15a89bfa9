import type { Affine } from '../compute/affine.js';
import { createPlane } from '../compute/image.js';
import type { JobContext } from '../job/context.js';
import type { LeftOut } from '../job/errors.js';
import { runStage } from '../job/stage.js';
import type { GradedFrame, GradedPass } from '../quality/grade-stage.js';
import { relativeSharpness } from '../quality/sharpness.js';
import { detailTask } from './detail-task.js';
import { type TrackLoss, trackPass } from './track.js';

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
const WEIGHT_POWER = 2;
const FULL_WEIGHT_AT = 1.3;

/** Stage: registers the frames of a pass to each other and weighs them by sharpness. */
export async function trackStage(context: JobContext, graded: GradedPass): Promise<TrackedPass> {
  const { frames } = graded;
  const artefact = await runStage(context, {
    name: 'track',
    key: {
      frames: frames.map((f) => [f.index, f.sha256]),
      binFactor: graded.binFactor,
      curves: frames.map((f) => f.grade.curve),
    },
    run: async () => {
      const details = frames.map((f) => createPlane(f.proxy.width, f.proxy.height, true));
      await context.pool.map(
        detailTask,
        frames.map((f, i) => ({ light: f.proxy, detail: details[i]! })),
        { signal: context.signal },
      );
      const track = await trackPass(
        frames.map((f, i) => ({ index: f.index, item: f.item, light: f.proxy, detail: details[i]! })),
        context.pool,
        context.signal,
      );
      const placed = frames.filter((f) => track.poses.has(f.index));
      const sharpness = relativeSharpness(placed.map((f) => ({ pose: track.poses.get(f.index)!, blocks: f.blocks })));
      return {
        frames: placed.map((f, i) => ({
          index: f.index,
          pose: track.poses.get(f.index)!,
          sharpness: sharpness[i]!,
          offPathPx: track.offPathPx.get(f.index)!,
        })),
        leftOut: track.leftOut,
        path: {
          rotationDegPerFrame: track.rotationDegPerFrame,
          squeezePerFrame: track.squeezePerFrame,
          tiltPx: track.tiltPx,
          warpPx: track.warpPx,
          pairs: track.pairResidualPx.length,
          pairResidualPx: median(track.pairResidualPx),
        },
      };
    },
  });
  return weigh(graded, artefact.result);
}

function weigh(
  graded: GradedPass,
  found: {
    frames: { index: number; pose: Affine; sharpness: number; offPathPx: number }[];
    leftOut: readonly LeftOut<TrackLoss>[];
    path: TrackSummary;
  },
): TrackedPass {
  const byIndex = new Map(graded.frames.map((f) => [f.index, f]));
  const leftOut: LeftOut<TrackStageLoss>[] = [...found.leftOut];
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
