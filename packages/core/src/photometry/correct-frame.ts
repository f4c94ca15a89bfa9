import { type FrameSource, openFrame } from '../capture/open-frame.js';
import type { LinearImage, Plane } from '../compute/image.js';
import { bilinearAt } from '../compute/sample.js';
import { defineTask, type Task } from '../compute/task.js';
import { mendDefects } from '../quality/defects.js';
import { patternRow, type SmoothPattern } from './pattern.js';

/** Light of one frame by channel: recorded = pattern · (gain · ground + sky + slope · position). */
export interface FrameCorrection {
  readonly gain: readonly number[];
  readonly sky: readonly number[];
  /** Slope of the sky over the sensor by channel, x and y, per half diagonal from the middle of the frame. */
  readonly slopeX: readonly number[];
  readonly slopeY: readonly number[];
}

/** Input of {@link correctFrameTask}. `planes` lie in shared memory, one a channel of the frame, and are filled. */
export interface CorrectFrameInput extends FrameSource {
  /** See {@link liftOf}; in shared memory. */
  readonly lift: Float32Array;
  readonly correction: FrameCorrection;
  /** Pixels of the sensor to be mended first, by index. */
  readonly defects: Uint32Array;
  readonly planes: readonly Float32Array[];
}

/** Decodes a frame and turns what it recorded into light of the ground, in a worker. */
export const correctFrameTask: Task<CorrectFrameInput, null> = defineTask('photometry/correct');

export async function runCorrectFrame(input: CorrectFrameInput): Promise<null> {
  const still = await openFrame(input);
  const { width, height, channels } = still;
  const planes = input.planes.slice(0, channels);
  still.rows(0, planes);
  mendDefects({ width, height, planes }, input.defects);
  correctFrame({ width, height, planes }, input.lift, input.correction, input.planes);
  return null;
}

/**
 * What each pixel of the sensor is multiplied with to undo its pattern, row-major; fills `lift`.
 *
 * @param fine natural log of what comes on top of the smooth pattern, on pixels `binFactor` times as large. Default: nothing
 */
export function liftOf(
  pattern: SmoothPattern,
  width: number,
  height: number,
  lift: Float32Array,
  fine?: Plane,
  binFactor = 1,
): Float32Array {
  const diagonal = Math.hypot(width, height) / 2;
  const xs = Float64Array.from({ length: width }, (_, x) => (x + 0.5 - width / 2) / diagonal);
  for (let y = 0; y < height; y++) {
    const row = lift.subarray(y * width, (y + 1) * width);
    patternRow(pattern, xs, (y + 0.5 - height / 2) / diagonal, row);
    for (let x = 0; x < width; x++) row[x] = 1 / row[x]!;
  }
  if (fine) addFine(lift, width, height, fine, binFactor);
  return lift;
}

function addFine(lift: Float32Array, width: number, height: number, fine: Plane, binFactor: number): void {
  const factor = fine.data.map((v) => Math.exp(-v));
  const offset = (binFactor - 1) / 2;
  for (let y = 0; y < height; y++) {
    const v = (y - offset) / binFactor;
    for (let x = 0; x < width; x++) {
      lift[y * width + x]! *= bilinearAt(factor, fine.width, fine.height, (x - offset) / binFactor, v);
    }
  }
}

/**
 * Ground light = (recorded · lift − sky − slope · position) / gain, channel by channel, into `out`, whose planes may be
 * those of the image.
 */
export function correctFrame(
  image: LinearImage,
  lift: Float32Array,
  correction: FrameCorrection,
  out: readonly Float32Array[],
): void {
  const { width, height } = image;
  const diagonal = Math.hypot(width, height) / 2;
  // The first plane last: a grey frame is all that the others are made from.
  for (let c = out.length - 1; c >= 0; c--) {
    const plane = out[c]!;
    const recorded = image.planes[c] ?? image.planes[0]!;
    const gain = 1 / correction.gain[c]!;
    const slope = correction.slopeX[c]! / diagonal;
    for (let y = 0; y < height; y++) {
      const sy = (y + 0.5 - height / 2) / diagonal;
      // Sky in the first column; it grows by the slope with every further one.
      const left = correction.sky[c]! + correction.slopeY[c]! * sy + slope * (0.5 - width / 2);
      const row = y * width;
      for (let x = 0; x < width; x++) plane[row + x] = (recorded[row + x]! * lift[row + x]! - left - slope * x) * gain;
    }
  }
}
