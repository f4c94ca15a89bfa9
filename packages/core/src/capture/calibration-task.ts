import { defineTask, type Task } from '../compute/task.js';
import { type RasterFile, withRaster } from '../job/raster-file.js';
import type { ClipPicture } from './clip-window.js';
import { openFrame } from './open-frame.js';
import type { Encoding } from './reading.js';

/** Input of {@link calibrationFrameTask}: one calibration frame, to be written into planes of a raster that is there. */
export interface CalibrationFrameInput {
  readonly path: string;
  /** Where the path is that of a clip: the picture in it. */
  readonly clip?: ClipPicture | undefined;
  readonly encoding: Encoding;
  /** What is subtracted first. */
  readonly offset: RasterFile | null;
  readonly raster: RasterFile;
  /** First plane to be written, of as many as the frame has channels. */
  readonly firstPlane: number;
  /** Whether each channel is divided by its mean: lamps and skies do not stay the same from frame to frame. */
  readonly normalise: boolean;
}

/** Decodes one calibration frame to linear light, in a worker. */
export const calibrationFrameTask: Task<CalibrationFrameInput, null> = defineTask('capture/calibration-frame');

export async function runCalibrationFrame(input: CalibrationFrameInput): Promise<null> {
  const { path, clip, encoding, offset, raster, firstPlane, normalise } = input;
  const calibration = offset && { dark: offset, flat: null, hash: '' };
  const { width, height, channels, rows } = await openFrame({ path, clip, encoding, calibration });
  const planes = Array.from({ length: channels }, () => new Float32Array(width * height));
  rows(0, planes);
  withRaster(raster, 'r+', (open) => {
    for (const [c, plane] of planes.entries()) {
      if (normalise) divide(plane, plane.reduce((sum, v) => sum + v, 0) / plane.length);
      open.write(firstPlane + c, { x0: 0, y0: 0, width, height }, plane);
    }
  });
  return null;
}

function divide(plane: Float32Array, by: number): void {
  if (!(by > 0)) return;
  for (let i = 0; i < plane.length; i++) plane[i]! /= by;
}

/** Input of {@link calibrationRowsTask}: rows of all frames, plane by plane as {@link calibrationFrameTask} wrote them. */
export interface CalibrationRowsInput {
  readonly frames: RasterFile;
  readonly channels: number;
  /** First row and one past the last. */
  readonly rows: readonly [number, number];
  readonly master: RasterFile;
}

/** Combines rows of calibration frames to those of their master, in a worker. */
export const calibrationRowsTask: Task<CalibrationRowsInput, null> = defineTask('capture/calibration-rows');

export function runCalibrationRows({ frames, channels, rows: [from, to], master }: CalibrationRowsInput): null {
  const box = { x0: 0, y0: from, width: frames.width, height: to - from };
  const size = box.width * box.height;
  const count = frames.planes / channels;
  const values = Array.from({ length: count }, () => new Float32Array(size));
  const out = new Float32Array(size);
  withRaster(frames, 'r', (open) => {
    withRaster(master, 'r+', (target) => {
      for (let c = 0; c < channels; c++) {
        for (const [k, plane] of values.entries()) open.read(k * channels + c, box, plane);
        combine(values, out);
        target.write(c, box, out);
      }
    });
  });
  return null;
}

/**
 * Value of each pixel over some frames: the mean of what lies within three standard deviations of the median, told by
 * the median absolute deviation, so that hits of particles and passers-by leave nothing.
 */
export function combine(frames: readonly Float32Array[], out: Float32Array): void {
  const count = frames.length;
  const values = new Float64Array(count);
  const apart = new Float64Array(count);
  for (let i = 0; i < out.length; i++) {
    for (let k = 0; k < count; k++) values[k] = frames[k]![i]!;
    values.sort();
    const middle = (values[(count - 1) >> 1]! + values[count >> 1]!) / 2;
    for (let k = 0; k < count; k++) apart[k] = Math.abs(values[k]! - middle);
    apart.sort();
    // Values of few codes often agree more than half: their spread is told by the next ones, then.
    const reach = KEPT_SIGMAS * NORMAL_MAD * (apart[(count - 1) >> 1]! || apart[Math.ceil(0.8 * count) - 1]!);
    let [sum, kept] = [0, 0];
    for (let k = 0; k < count; k++) {
      if (Math.abs(values[k]! - middle) > reach) continue;
      sum += values[k]!;
      kept++;
    }
    out[i] = kept > 0 ? sum / kept : middle;
  }
}

const KEPT_SIGMAS = 3;
/** Standard deviations per median absolute deviation of a normal distribution. */
const NORMAL_MAD = 1.4826;
