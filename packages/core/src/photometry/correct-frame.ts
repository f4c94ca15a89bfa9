import { type RecordedCurve, readStill } from '../capture/read-still.js';
import type { LinearImage } from '../compute/image.js';
import { defineTask, type Task } from '../compute/task.js';
import { mendDefects } from '../quality/defects.js';
import { BASIS_TERMS, basisAt, RADIAL_TERMS, type SmoothPattern } from './pattern.js';

/** Light of one frame by channel: recorded = pattern · (gain · ground + sky + slope · position). */
export interface FrameCorrection {
  readonly gain: readonly number[];
  readonly sky: readonly number[];
  /** Slope of the sky over the sensor by channel, x and y, per half diagonal from the middle of the frame. */
  readonly slopeX: readonly number[];
  readonly slopeY: readonly number[];
}

/** Input of {@link correctFrameTask}. `planes` lie in shared memory, one a channel of the frame, and are filled. */
export interface CorrectFrameInput {
  readonly path: string;
  readonly curve: RecordedCurve;
  readonly pattern: SmoothPattern;
  readonly correction: FrameCorrection;
  /** Pixels of the sensor to be mended first, by index. */
  readonly defects: Uint32Array;
  readonly planes: readonly Float32Array[];
}

/** Decodes a frame and turns what it recorded into light of the ground, in a worker. */
export const correctFrameTask: Task<CorrectFrameInput, null> = defineTask('photometry/correct');

export async function runCorrectFrame(input: CorrectFrameInput): Promise<null> {
  const { image } = await readStill(input.path, { curve: input.curve });
  mendDefects(image, input.defects);
  correctFrame(image, input.pattern, input.correction, input.planes);
  return null;
}

/** Ground light = (recorded / pattern − sky − slope · position) / gain, channel by channel, into `out`. */
export function correctFrame(
  image: LinearImage,
  pattern: SmoothPattern,
  correction: FrameCorrection,
  out: readonly Float32Array[],
): void {
  const { width, height } = image;
  const diagonal = Math.hypot(width, height) / 2;
  const index = new Uint16Array(BASIS_TERMS);
  const value = new Float64Array(BASIS_TERMS);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const sx = (x + 0.5 - width / 2) / diagonal;
      const sy = (y + 0.5 - height / 2) / diagonal;
      basisAt(pattern, sx, sy, index, value);
      let log = 0;
      for (let k = 0; k < BASIS_TERMS; k++) {
        const i = index[k]!;
        log += value[k]! * (i < RADIAL_TERMS ? pattern.radial[i]! : pattern.nodes[i - RADIAL_TERMS]!);
      }
      const lift = Math.exp(-log);
      const i = y * width + x;
      for (let c = 0; c < out.length; c++) {
        const sky = correction.sky[c]! + correction.slopeX[c]! * sx + correction.slopeY[c]! * sy;
        out[c]![i] = ((image.planes[c] ?? image.planes[0]!)[i]! * lift - sky) / correction.gain[c]!;
      }
    }
  }
}
