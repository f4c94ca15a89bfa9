import type { Affine } from '../compute/affine.js';
import { bendSpread } from '../compute/bend-spread.js';
import { createFloats } from '../compute/image.js';
import type { PlaneSource } from '../compute/plane-source.js';
import type { WorkerPool } from '../compute/pool.js';
import type { PatchSettings } from './patches.js';
import { bendOnPlate, createField, type SeeingField } from './seeing-field.js';
import { removeMean } from './seeing-mean.js';
import { withoutOutliers } from './seeing-outliers.js';
import { bendTask } from './seeing-task.js';
import { clearModel, stackModel } from './stack-model.js';

/** A frame whose bend is to be measured; its field lies in shared memory. */
export interface FrameToUnbend {
  readonly detail: PlaneSource;
  /** Frame px -> strip px. */
  readonly pose: Affine;
  /** What it counts in the model. */
  readonly weight: number;
  /** Filled. */
  readonly field: SeeingField;
}

/** Each round measures against a model that the last one has made sharper. */
export const BEND_ROUNDS = 2;
const KNOT_STEP_PX = 16;
const PATCH_PX = 64;
/** Patches lie this far apart at least, and no more of them than so many in a frame. */
const LEAST_STEP_PX = 40;
const MOST_PATCHES = 350;

/** A field of zeros for a frame, in shared memory. */
export function createSharedField(widthPx: number, heightPx: number): SeeingField {
  const field = createField(widthPx, heightPx, KNOT_STEP_PX);
  return { ...field, x: createFloats(field.x.length, true), y: createFloats(field.y.length, true) };
}

/**
 * Fills the fields of the frames of one pass: patches are measured against the mean of the others, smoothed as the air's
 * own covariance says, and what all have in common on the ground is taken out; twice, the second time with the model
 * unbent.
 *
 * @param frames at least two, all of one size
 */
export async function measureFields(
  frames: readonly FrameToUnbend[],
  pool: WorkerPool,
  signal?: AbortSignal,
  onDone: (done: number) => void = () => {},
): Promise<void> {
  const { width, height } = frames[0]!.detail;
  const patches = patchesFor(width, height);
  for (let round = 0; round < BEND_ROUNDS; round++) {
    const bent = frames.map(({ detail, pose, weight, field }) => ({
      ...{ detail, pose, weight },
      ...(round > 0 && { bend: bendOnPlate(field, pose, width, height, 1) }),
    }));
    const model = await stackModel(bent, pool, signal);
    const inputs = bent.map((frame, k) => ({
      kind: 'measure' as const,
      ...{ model, frame, field: frames[k]!.field, patches },
    }));
    const measured = await pool.map(bendTask, inputs, {
      signal,
      onDone: (done) => onDone(round * frames.length + done),
    });
    clearModel(model, pool);
    const residuals = withoutOutliers(measured, patches.stepPx);
    const spread = bendSpread(residuals);
    await pool.map(
      bendTask,
      residuals.map((r, k) => ({ kind: 'smooth' as const, residuals: r, spread, field: frames[k]!.field })),
      { signal },
    );
    removeMean(frames.map(({ pose, field }) => ({ pose, widthPx: width, heightPx: height, field })));
  }
}

function patchesFor(width: number, height: number): PatchSettings {
  const stepPx = Math.max(LEAST_STEP_PX, Math.ceil(Math.sqrt((width * height) / MOST_PATCHES)));
  return { sizePx: PATCH_PX, stepPx, stridePx: 2, minCorrelation: 0.5, maxShiftPx: 6 };
}
