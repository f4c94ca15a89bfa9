import type { Plane } from '../compute/image.js';
import { defineTask, type Task } from '../compute/task.js';
import { BAND_PASS_DEFAULTS, bandPass } from './band-pass.js';

/** Input of {@link detailTask}: `detail` lies in shared memory and is filled. */
export interface DetailInput {
  readonly light: Plane;
  readonly detail: Plane;
}

/** Band-passes one frame's luminance in a worker. */
export const detailTask: Task<DetailInput, null> = defineTask('registration/detail');

export function runDetail(input: DetailInput): null {
  input.detail.data.set(bandPass(input.light, BAND_PASS_DEFAULTS).data);
  return null;
}
