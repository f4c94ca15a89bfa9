import { readingKey } from '../capture/reading.js';
import { bendRms } from '../compute/bend-grid.js';
import type { JobContext } from '../job/context.js';
import { readFloats, writeFloats } from '../job/floats.js';
import { runStage } from '../job/stage.js';
import { frameKey } from '../quality/frame-key.js';
import type { SeeingField } from './seeing-field.js';
import { BEND_ROUNDS, createSharedField, measureFields } from './seeing-measure.js';
import type { TrackedFrame, TrackedPass } from './track-stage.js';

/** A frame with what the air has done to it. */
export interface SeenFrame extends TrackedFrame {
  readonly field: SeeingField;
}

/** A pass whose frames can be unbent. */
export interface SeenPass extends Omit<TrackedPass, 'details'> {
  readonly frames: readonly SeenFrame[];
  /** Bend of the frames that was found, rms px per axis at proxy scale. */
  readonly bendPx: number;
}

/** Stage: measures how the air has bent each frame of a pass. */
export async function seeingStage(context: JobContext, tracked: TrackedPass): Promise<SeenPass> {
  const { details, ...rest } = tracked;
  const { frames, graded } = rest;
  const { width, height } = frames[0]!.proxy;
  const fields = frames.map(() => createSharedField(width, height));
  const files = fields.flatMap((f) => [f.x, f.y]);
  const artefact = await runStage(context, {
    name: 'seeing',
    subject: graded.pass.name,
    key: {
      reading: readingKey(graded.reading),
      bin: graded.binFactor,
      frames: frames.map((f) => [...frameKey(f), f.pose, f.weight]),
    },
    total: frames.length,
    unit: 'frames',
    run: async (handle) => {
      if (frames.length > 1) {
        const bent = frames.map(({ index, pose, weight }, k) => ({
          ...{ detail: details.get(index)!, pose, weight },
          field: fields[k]!,
        }));
        await measureFields(bent, context.pool, context.signal, (done) => handle.step(done / BEND_ROUNDS));
      }
      await writeFloats(handle.path('fields.f32'), files);
      return { bendPx: bendRms(fields) };
    },
  });
  if (artefact.resumed) await readFloats(artefact.path('fields.f32'), files);
  return { ...rest, frames: frames.map((f, k) => ({ ...f, field: fields[k]! })), bendPx: artefact.result.bendPx };
}
