import { readingKey } from '../capture/reading.js';
import { planesInFile, type StoredPlane } from '../compute/plane-source.js';
import type { JobContext } from '../job/context.js';
import { createFloatsFile } from '../job/floats.js';
import { runStage } from '../job/stage.js';
import { frameKey } from '../quality/frame-key.js';
import type { GradedPass } from '../quality/grade-stage.js';
import { detailTask } from './detail-task.js';

/** Detail of a pass's graded frames by their index; see {@link bandPass}. */
export type PassDetails = ReadonlyMap<number, StoredPlane>;

/** Stage: band-passes the light of every graded frame of a pass. */
export async function detailStage(
  context: JobContext,
  { pass, frames, binFactor, reading }: GradedPass,
): Promise<PassDetails> {
  const { width, height } = frames[0]!.proxy;
  const detailsIn = (path: string): StoredPlane[] => planesInFile(path, frames.length, width, height);
  const artefact = await runStage(context, {
    name: 'detail',
    subject: pass.name,
    key: { frames: frames.map(frameKey), binFactor, reading: readingKey(reading) },
    total: frames.length,
    unit: 'frames',
    run: async (handle) => {
      await createFloatsFile(handle.path(DETAIL_FILE), frames.length * width * height);
      const details = detailsIn(handle.path(DETAIL_FILE));
      const inputs = frames.map(({ proxy }, k) => ({ light: proxy, detail: details[k]! }));
      const onDone = (done: number): void => handle.step(done);
      await context.pool.map(detailTask, inputs, { signal: context.signal, onDone });
      return null;
    },
  });
  const details = detailsIn(artefact.path(DETAIL_FILE));
  return new Map(frames.map(({ index }, k) => [index, details[k]!]));
}

const DETAIL_FILE = 'detail.f32';
