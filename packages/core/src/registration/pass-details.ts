import { createPlane, type Plane } from '../compute/image.js';
import type { JobContext } from '../job/context.js';
import type { GradedPass } from '../quality/grade-stage.js';
import { detailTask } from './detail-task.js';

/** Detail of a pass's graded frames by their index, in shared memory; made when first asked for, and then kept. */
export type PassDetails = () => Promise<ReadonlyMap<number, Plane>>;

/** {@link PassDetails} of a pass: stages that an earlier run has finished need none. */
export function detailsOf(context: Pick<JobContext, 'pool' | 'signal'>, { frames }: GradedPass): PassDetails {
  const make = async (): Promise<ReadonlyMap<number, Plane>> => {
    const details = frames.map(({ proxy }) => createPlane(proxy.width, proxy.height, true));
    const inputs = frames.map(({ proxy }, k) => ({ light: proxy, detail: details[k]! }));
    await context.pool.map(detailTask, inputs, { signal: context.signal });
    return new Map(frames.map(({ index }, k) => [index, details[k]!]));
  };
  let made: ReturnType<PassDetails> | undefined;
  return () => {
    made ??= make();
    return made;
  };
}
