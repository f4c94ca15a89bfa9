import { bendSpread } from '../compute/bend-spread.js';
import { createFloats, createPlane } from '../compute/image.js';
import type { JobContext } from '../job/context.js';
import { readFloats, writeFloats } from '../job/floats.js';
import { runStage } from '../job/stage.js';
import { detailTask } from './detail-task.js';
import { type MeasureInput, measureTask } from './pair-tasks.js';
import type { PatchSettings } from './patches.js';
import { bendOnPlate, createField, type SeeingField } from './seeing-field.js';
import { removeMean } from './seeing-mean.js';
import { withoutOutliers } from './seeing-outliers.js';
import { bendTask } from './seeing-task.js';
import { innerCoverage } from './track.js';
import { createModel, MODEL_BAND_ROWS } from './track-model.js';
import type { TrackedFrame, TrackedPass } from './track-stage.js';

/** A frame with what the air has done to it. */
export interface SeenFrame extends TrackedFrame {
  readonly field: SeeingField;
}

/** A pass whose frames can be unbent. */
export interface SeenPass extends TrackedPass {
  readonly frames: readonly SeenFrame[];
  /** Bend of the frames that was found, rms px per axis at proxy scale. */
  readonly bendPx: number;
}

/** Each round measures against a model that the last one has made sharper. */
const ROUNDS = 2;
const KNOT_STEP_PX = 16;
const PATCH_PX = 64;
/** Patches lie this far apart at least, and no more of them than so many in a frame. */
const LEAST_STEP_PX = 40;
const MOST_PATCHES = 350;

/** Stage: measures how the air has bent each frame of a pass. */
export async function seeingStage(context: JobContext, tracked: TrackedPass): Promise<SeenPass> {
  const { frames, graded } = tracked;
  const { width, height } = frames[0]!.proxy;
  const fields = frames.map(() => sharedField(width, height));
  const files = fields.flatMap((f) => [f.x, f.y]);
  const artefact = await runStage(context, {
    name: 'seeing',
    subject: graded.pass.name,
    key: { bin: graded.binFactor, frames: frames.map((f) => [f.sha256, f.pose, f.weight]) },
    total: ROUNDS * frames.length,
    run: async (handle) => {
      if (frames.length > 1) await measureFields(context, frames, fields, (done) => handle.step(done));
      await writeFloats(handle.path('fields.f32'), files);
      return { bendPx: rms(files) };
    },
  });
  if (artefact.resumed) await readFloats(artefact.path('fields.f32'), files);
  return { ...tracked, frames: frames.map((f, k) => ({ ...f, field: fields[k]! })), bendPx: artefact.result.bendPx };
}

async function measureFields(
  context: JobContext,
  frames: readonly TrackedFrame[],
  fields: readonly SeeingField[],
  onDone: (done: number) => void,
): Promise<void> {
  const { pool, signal } = context;
  const { width, height } = frames[0]!.proxy;
  const details = frames.map(() => createPlane(width, height, true));
  await pool.map(
    detailTask,
    frames.map((f, k) => ({ light: f.proxy, detail: details[k]! })),
    { signal },
  );
  const coverage = innerCoverage(frames[0]!.proxy);
  const patches = patchesFor(width, height);
  for (let round = 0; round < ROUNDS; round++) {
    const bent = frames.map(({ pose, weight }, k) => ({
      detail: details[k]!,
      pose,
      weight,
      ...(round > 0 && { bend: bendOnPlate(fields[k]!, pose, width, height, 1) }),
    }));
    const model = createModel(bent);
    const bands: MeasureInput[] = [];
    for (let row = 0; row < model.height; row += MODEL_BAND_ROWS) {
      bands.push({ kind: 'stack', model, frames: bent, rows: [row, Math.min(model.height, row + MODEL_BAND_ROWS)] });
    }
    await pool.map(measureTask, bands, { signal });
    const inputs = bent.map((frame, k) => ({
      kind: 'measure' as const,
      ...{ model, frame, field: fields[k]!, coverage, patches },
    }));
    const measured = await pool.map(bendTask, inputs, {
      signal,
      onDone: (done) => onDone(round * frames.length + done),
    });
    const residuals = withoutOutliers(measured, patches.stepPx);
    const spread = bendSpread(residuals);
    await pool.map(
      bendTask,
      residuals.map((r, k) => ({ kind: 'smooth' as const, residuals: r, spread, field: fields[k]! })),
      { signal },
    );
    removeMean(frames.map(({ pose }, k) => ({ pose, widthPx: width, heightPx: height, field: fields[k]! })));
  }
}

function patchesFor(width: number, height: number): PatchSettings {
  const stepPx = Math.max(LEAST_STEP_PX, Math.ceil(Math.sqrt((width * height) / MOST_PATCHES)));
  return { sizePx: PATCH_PX, stepPx, stridePx: 2, minCorrelation: 0.5, maxShiftPx: 6 };
}

function sharedField(width: number, height: number): SeeingField {
  const field = createField(width, height, KNOT_STEP_PX);
  return { ...field, x: createFloats(field.x.length, true), y: createFloats(field.y.length, true) };
}

function rms(parts: readonly Float32Array[]): number {
  let sum = 0;
  let count = 0;
  for (const part of parts) {
    for (const v of part) sum += v * v;
    count += part.length;
  }
  return Math.sqrt(sum / Math.max(1, count));
}
