import { type Affine, applyY, invert, mappedBounds } from '../compute/affine.js';
import { createFloats } from '../compute/image.js';
import type { Bend } from '../compute/kernels-accumulate.js';
import { type PlaneSource, planeRows } from '../compute/plane-source.js';
import { bendOnPlate, type SeeingField } from '../registration/seeing-field.js';
import type { SeenFrame } from '../registration/seeing-stage.js';
import type { FrameCorrection } from './correct-frame.js';

/** A frame at proxy scale as the search for what is fixed on the sensor sees it. */
export interface FineFrame {
  readonly light: PlaneSource;
  /** Its px that hold a defect of the sensor, which are mended elsewhere, by index, ascending. */
  readonly defects: Uint32Array;
  /** Frame px -> px of the pass's ground. */
  readonly pose: Affine;
  /** How it is bent: on knots on the ground, and on knots on the sensor. */
  readonly onGround: Bend;
  readonly onSensor: Bend;
  /** recorded / pattern = gain · (ground + sky + slopeX · x + slopeY · y), the mean of the channels, x and y in px. */
  readonly gain: number;
  readonly sky: number;
  readonly slopeX: number;
  readonly slopeY: number;
  /** Noise of a px, linear light. */
  readonly noise: number;
}

/**
 * Frames of one pass, ready to be compared on their common ground. The mean sky of the pass stays in its ground light,
 * so that dark ground has light to divide by.
 */
export function fineFrames(
  frames: readonly SeenFrame[],
  corrections: readonly FrameCorrection[],
  defects: Uint32Array,
): FineFrame[] {
  const skyOf = (c: FrameCorrection): number => mean(c.sky) / mean(c.gain);
  const common = mean(corrections.map(skyOf));
  return frames.map((frame, k) => {
    const { width, height } = frame.proxy;
    const correction = corrections[k]!;
    const gain = mean(correction.gain);
    const reach = (gain * Math.hypot(width, height)) / 2;
    const slopeX = mean(correction.slopeX) / reach;
    const slopeY = mean(correction.slopeY) / reach;
    const corner = skyOf(correction) - common + (slopeX * (1 - width) + slopeY * (1 - height)) / 2;
    return {
      light: frame.proxy,
      defects,
      pose: frame.pose,
      onGround: bendOnPlate(frame.field, frame.pose, width, height, 1),
      onSensor: bendOnSensor(frame.field, frame.pose),
      gain,
      sky: corner,
      slopeX,
      slopeY,
      noise: Math.max(frame.grade.noise, LEAST_NOISE),
    };
  });
}

/** Half the step of an 8-bit code in the dark, linear light. */
const LEAST_NOISE = 1.5e-4;

/** A frame's light as that of its ground, rows from..to−1, in place in a plane of the frame's size. */
export function groundLight(frame: FineFrame, lift: Float32Array, from: number, to: number, out: Float32Array): void {
  const { width } = frame.light;
  const scale = 1 / frame.gain;
  const recorded = planeRows(frame.light, from, to);
  for (let y = from; y < to; y++) {
    const left = frame.sky + frame.slopeY * y;
    for (let x = 0, i = y * width; x < width; x++, i++) {
      out[i] = recorded[i - from * width]! * lift[i]! * scale - left - frame.slopeX * x;
    }
  }
  for (const i of frame.defects) {
    const x = i % width;
    if (i >= from * width && i < to * width)
      out[i] = (out[x > 0 ? i - 1 : i + 1]! + out[x < width - 1 ? i + 1 : i - 1]!) / 2;
  }
}

/** Rows of the frame, first and one past the last, that rows from..to−1 of the ground can need; none: first = last. */
export function rowsSeen({ light, pose, onGround }: FineFrame, from: number, to: number): [number, number] {
  const reach = mappedBounds(pose, light.width, light.height);
  const back = invert(pose);
  let most = TAPS_PX;
  for (const v of onGround.knots) most = Math.max(most, Math.abs(v) + TAPS_PX);
  if (to <= reach.y0 - 2 * most || from >= reach.y1 + 2 * most) return [0, 0];
  const ys = [reach.x0 - most, reach.x1 + most].flatMap((x) => [applyY(back, x, from), applyY(back, x, to - 1)]);
  const first = Math.max(0, Math.floor(Math.min(...ys) - most));
  const last = Math.min(light.height, Math.ceil(Math.max(...ys) + most) + 1);
  return first < last ? [first, last] : [0, 0];
}

/** What the resampling's taps reach beyond a place, with room for rounding. */
const TAPS_PX = 5;

/** Pixels of a proxy that hold defects of its sensor, given by their index at full resolution; ascending. */
export function defectsOnProxy(
  defects: Uint32Array,
  widthPx: number,
  proxy: { readonly width: number; readonly height: number },
  binFactor: number,
): Uint32Array {
  const found = new Set<number>();
  for (const i of defects) {
    const x = Math.floor((i % widthPx) / binFactor);
    const y = Math.floor(Math.floor(i / widthPx) / binFactor);
    if (x < proxy.width && y < proxy.height) found.add(y * proxy.width + x);
  }
  return Uint32Array.from(found).sort();
}

function bendOnSensor(field: SeeingField, pose: Affine): Bend {
  const size = field.x.length;
  const knots = createFloats(2 * size, true);
  for (let i = 0; i < size; i++) {
    knots[i] = pose.xx * field.x[i]! + pose.xy * field.y[i]!;
    knots[size + i] = pose.yx * field.x[i]! + pose.yy * field.y[i]!;
  }
  return { x0: field.x0, y0: field.y0, stepPx: field.stepPx, columns: field.columns, rows: field.rows, knots };
}

function mean(values: readonly number[]): number {
  return values.reduce((sum, v) => sum + v, 0) / values.length;
}
