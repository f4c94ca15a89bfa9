import { compose, onFinerGrid } from '../compute/affine.js';
import { createFloats } from '../compute/image.js';
import type { JobContext } from '../job/context.js';
import { readFloats, writeFloats } from '../job/floats.js';
import { runStage } from '../job/stage.js';
import { correctFrameTask } from '../photometry/correct-frame.js';
import type { PlacedPass, PlateLight } from '../photometry/light-stage.js';
import type { StripSums } from '../strip/accumulate.js';
import { boxOf, stackFrames } from '../strip/stack.js';

/** Stage: stacks the frames of one pass at full resolution, straight onto the plate's grid. */
export async function stripStage(
  context: JobContext,
  placed: PlacedPass,
  light: PlateLight,
  passIndex: number,
  channels: number,
): Promise<StripSums> {
  const { tracked } = placed;
  const { pass, binFactor, curve } = tracked.graded;
  const corrections = light.corrections[passIndex]!;
  const frames = tracked.frames.map((frame, k) => ({
    width: pass.widthPx,
    height: pass.heightPx,
    pose: onFinerGrid(compose(placed.pose, frame.pose), binFactor),
    weight: frame.weight,
    load: (planes: readonly Float32Array[]) =>
      context.pool.run(
        correctFrameTask,
        { path: frame.path, curve, pattern: light.pattern, correction: corrections[k]!, planes },
        { signal: context.signal },
      ),
  }));
  const box = boxOf(frames);
  const size = box.width * box.height;
  const artefact = await runStage(context, {
    name: 'strip',
    key: {
      frames: tracked.frames.map((f, k) => [f.sha256, frames[k]!.pose, f.weight, corrections[k]]),
      pattern: light.pattern,
      channels,
    },
    total: frames.length,
    needBytes: size * 4 * (channels + 1),
    run: async (handle) => {
      const sums = await stackFrames(frames, box, channels, context.pool, context.signal, (done) => handle.step(done));
      await writeFloats(handle.path('strip.f32'), [...sums.planes, sums.weight]);
      return box;
    },
  });
  const sums = {
    ...box,
    planes: Array.from({ length: channels }, () => createFloats(size)),
    weight: createFloats(size),
  };
  await readFloats(artefact.path('strip.f32'), [...sums.planes, sums.weight]);
  return sums;
}
