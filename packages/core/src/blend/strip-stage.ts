import { type Affine, compose, onFinerGrid } from '../compute/affine.js';
import { createFloats } from '../compute/image.js';
import type { JobContext } from '../job/context.js';
import { readFloats, writeFloats } from '../job/floats.js';
import { hashOfFloats } from '../job/hash.js';
import { runStage } from '../job/stage.js';
import { correctFrameTask, liftOf } from '../photometry/correct-frame.js';
import { type FinePattern, fineFor } from '../photometry/fine-stage.js';
import type { PlacedPass, PlateLight } from '../photometry/light-stage.js';
import { bendOnPlate } from '../registration/seeing-field.js';
import type { StripSums } from '../strip/accumulate.js';
import { boxOf, stackFrames } from '../strip/stack.js';

/** A finished strip. */
export interface FinishedStrip {
  readonly sums: StripSums;
  /** Everything that its pixels depend on: the key of the stage. */
  readonly key: unknown;
  /** Pose of each frame, frame px -> the space that `sums.x0, y0` count in. */
  readonly poses: readonly Affine[];
}

/** Stage: stacks the frames of one pass at full resolution, straight onto the plate's grid. */
export async function stripStage(
  context: JobContext,
  placed: PlacedPass,
  light: PlateLight,
  fine: FinePattern,
  passIndex: number,
  channels: number,
): Promise<FinishedStrip> {
  const { tracked } = placed;
  const { pass, binFactor, curve, defects } = tracked.graded;
  const corrections = light.corrections[passIndex]!;
  const poses = tracked.frames.map((frame) => onFinerGrid(compose(placed.pose, frame.pose), binFactor));
  const finePlane = fineFor(fine, pass, binFactor);
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
      lift ??= liftOf(light.pattern, pass.widthPx, pass.heightPx, finePlane, binFactor);
      const input = { path: frame.path, curve, lift, correction: corrections[k]!, defects, planes };
      return context.pool.run(correctFrameTask, input, { signal: context.signal });
    },
  }));
  const box = boxOf(frames);
  const size = box.width * box.height;
  const key = {
    frames: tracked.frames.map((f, k) => [f.sha256, poses[k], f.weight, corrections[k], hashOfFloats(bends[k]!.knots)]),
    curve,
    defects: Array.from(defects),
    pattern: light.pattern,
    fine: finePlane ? fine.hash : '',
    channels,
  };
  let sums: StripSums | undefined;
  const artefact = await runStage(context, {
    name: 'strip',
    subject: pass.name,
    key,
    total: frames.length,
    needBytes: size * 4 * (channels + 1),
    run: async (handle) => {
      const step = (done: number): void => handle.step(done);
      sums = await stackFrames(frames, box, channels, context.pool, context.signal, step);
      await writeFloats(handle.path('strip.f32'), [...sums.planes, sums.weight]);
      return box;
    },
  });
  if (!sums) {
    const planes = Array.from({ length: channels }, () => createFloats(size, true));
    sums = { ...box, planes, weight: createFloats(size, true) };
    await readFloats(artefact.path('strip.f32'), [...planes, sums.weight]);
  }
  return { sums, key, poses };
}
