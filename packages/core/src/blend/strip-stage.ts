import { type Affine, compose, onFinerGrid } from '../compute/affine.js';
import type { JobContext } from '../job/context.js';
import { hashOfFloats } from '../job/hash.js';
import { runStage } from '../job/stage.js';
import { correctFrameTask, liftOf } from '../photometry/correct-frame.js';
import type { PlacedPass, PlateLight } from '../photometry/light-stage.js';
import { bendOnPlate } from '../registration/seeing-field.js';
import { boxOf, stackFrames } from '../strip/stack.js';
import type { StripFile } from '../strip/strip-store.js';

/** A finished strip. */
export interface FinishedStrip {
  /** Its box counts in the space of the poses. */
  readonly strip: StripFile;
  /** Everything that its pixels depend on: the key of the stage. */
  readonly key: unknown;
  /** Pose of each frame, frame px -> the space that the strip's box counts in. */
  readonly poses: readonly Affine[];
}

/** Share of the run's memory for the frames that wait to be added and the parts of the strip. */
const STACK_SHARE = 0.6;

/** Stage: stacks the frames of one pass at full resolution, straight onto the plate's grid. */
export async function stripStage(
  context: JobContext,
  placed: PlacedPass,
  light: PlateLight,
  passIndex: number,
  channels: number,
): Promise<FinishedStrip> {
  const { tracked } = placed;
  const { pass, binFactor, curve, defects } = tracked.graded;
  const corrections = light.corrections[passIndex]!;
  const poses = tracked.frames.map((frame) => onFinerGrid(compose(placed.pose, frame.pose), binFactor));
  let lift: Float32Array | undefined;
  const bends = tracked.frames.map((frame, k) =>
    bendOnPlate(frame.field, poses[k]!, pass.widthPx, pass.heightPx, binFactor, placed.join),
  );
  const frames = tracked.frames.map((frame, k) => ({
    width: pass.widthPx,
    height: pass.heightPx,
    pose: poses[k]!,
    weight: frame.weight,
    bend: bends[k]!,
    load: (planes: readonly Float32Array[]) => {
      lift ??= liftOf(light.pattern, pass.widthPx, pass.heightPx);
      const input = { path: frame.path, curve, lift, correction: corrections[k]!, defects, planes };
      return context.pool.run(correctFrameTask, input, { signal: context.signal });
    },
  }));
  const box = boxOf(frames);
  const key = {
    frames: tracked.frames.map((f, k) => [f.sha256, poses[k], f.weight, corrections[k], hashOfFloats(bends[k]!.knots)]),
    curve,
    defects: Array.from(defects),
    pattern: light.pattern,
    channels,
  };
  const artefact = await runStage(context, {
    name: 'strip',
    subject: pass.name,
    key,
    total: frames.length,
    needBytes: box.width * box.height * 4 * (channels + 1),
    run: async (handle) => {
      await stackFrames(frames, {
        ...{ path: handle.path(STRIP_FILE), box, channels, pool: context.pool, signal: context.signal },
        memoryBytes: STACK_SHARE * context.memoryBytes,
        onDone: (done) => handle.step(done),
      });
      return box;
    },
  });
  const raster = { path: artefact.path(STRIP_FILE), width: box.width, height: box.height, planes: channels + 1 };
  return { strip: { box, raster }, key, poses };
}

const STRIP_FILE = 'strip.f32';
