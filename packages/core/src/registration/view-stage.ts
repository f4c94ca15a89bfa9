import type { Notice, StillsPass } from '../capture/pass.js';
import { readingKey } from '../capture/reading.js';
import type { JobContext } from '../job/context.js';
import { runStage } from '../job/stage.js';
import type { GradedPass } from '../quality/grade-stage.js';
import { findViewJumps } from './view-jumps.js';

/** The passes that one folder of everything turned out to hold. */
export interface PartedPass {
  readonly passes: readonly GradedPass[];
  readonly notices: readonly Notice[];
}

/** Stage: parts a folder of everything where the camera was pointed anew; any other pass stays whole. */
export async function viewStage(context: JobContext, graded: GradedPass): Promise<PartedPass> {
  const { pass, frames, binFactor, reading } = graded;
  if (pass.kind === 'clip' || !pass.mixed) return { passes: [graded], notices: [] };
  const artefact = await runStage(context, {
    name: 'views',
    subject: pass.name,
    key: { frames: frames.map((f) => [f.index, f.sha256]), binFactor, reading: readingKey(reading) },
    total: frames.length,
    unit: 'frames',
    run: async (handle) => {
      const lights = frames.map(({ index, proxy }) => ({ index, light: proxy }));
      const jumps = await findViewJumps(lights, context.pool, context.signal, (done) => handle.step(done));
      return jumps.map((position) => frames[position]!.index);
    },
  });
  const starts = artefact.result;
  if (starts.length === 0) return { passes: [graded], notices: [] };
  const bounds = [0, ...starts, pass.frames.length];
  const passes = bounds.slice(1).map((end, k) => part(graded, pass, bounds[k]!, end, k));
  const before = starts.map((index) => pass.frames[index]!.item).join(', ');
  const detail = `Parted into ${passes.length} passes where the view jumps: before ${before}.`;
  return { passes, notices: [{ item: pass.name, reason: 'split-by-view', detail }] };
}

function part(graded: GradedPass, pass: StillsPass, from: number, to: number, k: number): GradedPass {
  const frames = pass.frames.slice(from, to);
  const items = new Set(frames.map(({ item }) => item));
  return {
    ...graded,
    pass: { ...pass, name: `${pass.name}.${k + 1}`, frames },
    frames: graded.frames
      .filter(({ item }) => items.has(item))
      .map((frame) => ({ ...frame, index: frame.index - from })),
    leftOut: graded.leftOut.filter(({ item }) => items.has(item)),
  };
}
