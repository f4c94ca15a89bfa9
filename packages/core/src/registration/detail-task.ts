import { type PlaneSource, type StoredPlane, storePlane, wholePlane } from '../compute/plane-source.js';
import { defineTask, type Task } from '../compute/task.js';
import { BAND_PASS_DEFAULTS, bandPass } from './band-pass.js';

/** Input of {@link detailTask}: the file of `detail` is there, and is written to. */
export interface DetailInput {
  readonly light: PlaneSource;
  readonly detail: StoredPlane;
}

/** Band-passes one frame's luminance in a worker. */
export const detailTask: Task<DetailInput, null> = defineTask('registration/detail');

export function runDetail(input: DetailInput): null {
  storePlane(input.detail, bandPass(wholePlane(input.light), BAND_PASS_DEFAULTS).data);
  return null;
}
