import type { Notice, Pass } from '../capture/pass.js';
import { readingKey } from '../capture/reading.js';
import type { JobContext } from '../job/context.js';
import { runStage } from '../job/stage.js';
import { frameKey } from '../quality/frame-key.js';
import type { GradedPass } from '../quality/grade-stage.js';
import { findViews } from './find-views.js';

/** The passes that a folder of everything or a clip turned out to hold. */
export interface PartedPass {
  readonly passes: readonly GradedPass[];
  readonly notices: readonly Notice[];
}

/** Stage: parts a folder of everything or a clip where the camera was pointed anew; any other pass stays whole. */
export async function viewStage(context: JobContext, graded: GradedPass): Promise<PartedPass> {
  const { pass, frames, binFactor, reading } = graded;
  if (!pass.mixed) return { passes: [graded], notices: [] };
  const artefact = await runStage(context, {
    name: 'views',
    subject: pass.name,
    key: { frames: frames.map(frameKey), binFactor, reading: readingKey(reading) },
    total: frames.length,
    unit: 'frames',
    run: async (handle) => {
      const lights = frames.map(({ index, proxy }) => ({ index, light: proxy }));
      const views = await findViews(lights, context.pool, {
        continuous: pass.kind === 'clip',
        signal: context.signal,
        onDone: (done) => handle.step(done),
      });
      return views.map(({ first, last }) => ({ first: frames[first]!.index, last: frames[last]!.index }));
    },
  });
  const views = artefact.result;
  if (views.length === 0) return { passes: [graded], notices: [] };
  const starts = views.map(({ first }, k) => (k === 0 ? 0 : first));
  const passes = views.map((view, k) =>
    part(graded, pass, { k, from: starts[k]!, to: starts[k + 1] ?? pass.frames.length, last: view.last }),
  );
  const before = starts
    .slice(1)
    .map((index) => pass.frames[index]!.item)
    .join(', ');
  const detail = `Parted into ${passes.length} passes where the view jumps: before ${before}.`;
  return { passes, notices: [{ item: pass.name, reason: 'split-by-view', detail }] };
}

/** View `k` of a recording: its frames from `from` up to `to`, of which those after `last` show the way to the next one. */
function part(
  graded: GradedPass,
  pass: Pass,
  { k, from, to, last }: { readonly k: number; readonly from: number; readonly to: number; readonly last: number },
): GradedPass {
  const files = pass.frames.slice(from, to);
  const items = new Set(files.map(({ item }) => item));
  const isLast = to === pass.frames.length;
  const [frames, onTheWay] = parted(
    graded.frames.filter(({ item }) => items.has(item)),
    ({ index }) => isLast || index <= last,
  );
  const lost = onTheWay.map(({ item }) => ({
    item,
    reason: 'on-the-way' as const,
    detail: 'The camera was being pointed at the next view.',
  }));
  return {
    ...graded,
    pass: { ...pass, name: `${pass.name}.${k + 1}`, frames: files },
    frames: frames.map((frame) => ({ ...frame, index: frame.index - from })),
    leftOut: [...graded.leftOut.filter(({ item }) => items.has(item)), ...lost],
  };
}

function parted<T>(list: readonly T[], isFirst: (one: T) => boolean): [T[], T[]] {
  return [list.filter(isFirst), list.filter((one) => !isFirst(one))];
}
