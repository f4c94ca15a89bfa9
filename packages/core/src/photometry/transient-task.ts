import { invert } from '../compute/affine.js';
import { accumulateWithKernels } from '../compute/kernels-accumulate.js';
import { createRandom } from '../compute/random.js';
import { defineTask, type Task } from '../compute/task.js';
import { type FineFrame, groundLight, rowsSeen } from './fine-frame.js';

/** Input of {@link transientTask}: frames of one pass on some rows of their common ground. */
export interface TransientInput {
  readonly frames: readonly FineFrame[];
  /** What undoes the sensor's pattern, one factor a px. */
  readonly lift: Float32Array;
  /** Ground px of the first pixel, and size. */
  readonly x0: number;
  readonly y0: number;
  readonly width: number;
  readonly height: number;
}

/** Pixels of the ground, by index, that each frame shows as no other does. */
export type Intrusions = readonly (readonly number[])[];

/** Looks for what passes through single frames, in a worker. */
export const transientTask: Task<TransientInput, Intrusions> = defineTask('photometry/transient');

/** On fewer frames nothing can be told from the ground. */
const LEAST_FRAMES = 4;
/** What differs by so many standard deviations is no ground, and what is joined to it and differs by so many. */
const SEED_SIGMA = 6;
const JOINED_SIGMA = 3.5;
/** Difference that is never significant, linear light: steps of an 8-bit code in the dark. */
const LEAST_SPREAD = 1e-4;
/** Half sides of the squares over which the spread is taken. */
const NEAR_PX = 1;
const FAR_PX = 4;
/** Rows and columns beyond the asked-for ones that are looked at with them. */
export const TRANSIENT_RIM_PX = 8;

/**
 * Holds every frame against the mean of all at the same ground without the largest and the smallest value, after a
 * smoothing over 3 x 3 px that makes faint trails stand out. How far apart frames may be is told by themselves: the spread
 * of the values in between, over the near and the farther neighbourhood, whichever is more, so that noise, light,
 * edges under the air's blur all count by what they do there.
 */
export function findIntrusions(input: TransientInput): Intrusions {
  const { frames, width, height } = input;
  const size = width * height;
  const seen = frames.map((frame) => onGround(frame, input));
  const shown = seen.map(({ light }) => smoothed(light, width, height));
  const middle = new Float32Array(size);
  const spread = new Float32Array(size);
  const depth = new Uint16Array(size);
  for (let i = 0; i < size; i++) {
    let [sum, squares, count] = [0, 0, 0];
    let [most, least] = [Number.NEGATIVE_INFINITY, Number.POSITIVE_INFINITY];
    for (let k = 0; k < shown.length; k++) {
      const v = shown[k]![i]!;
      if (Number.isNaN(v)) continue;
      sum += v;
      squares += v * v;
      count++;
      if (v > most) most = v;
      if (v < least) least = v;
    }
    depth[i] = count;
    if (count < LEAST_FRAMES) continue;
    const mean = (sum - most - least) / (count - 2);
    middle[i] = mean;
    spread[i] =
      Math.max(0, squares - most * most - least * least - (count - 2) * mean * mean) /
      ((count - 2) * trimmedShare(count));
  }
  const near = boxMean(spread, depth, width, height, NEAR_PX);
  const far = boxMean(spread, depth, width, height, FAR_PX);
  const variance = near.map((v, i) => Math.max(v, far[i]!) + LEAST_SPREAD ** 2);
  const slope2 = slopes(middle, depth, width, height);
  return shown.map((plane, k) => {
    const { known } = seen[k]!;
    const limit = new Float32Array(size);
    for (let i = 0; i < size; i++) {
      const adrift2 = LEFT_PX ** 2 + (ADRIFT_PX * (1 - known[i]!)) ** 2;
      limit[i] = Math.sqrt(variance[i]! + adrift2 * slope2[i]!);
    }
    return intruding(plane, middle, limit, depth, width, height);
  });
}

/** Square of the change of light from px to px; 0 where it is not known all around. */
function slopes(plane: Float32Array, depth: Uint16Array, width: number, height: number): Float32Array {
  const out = new Float32Array(plane.length);
  for (let y = 1; y < height - 1; y++) {
    for (let i = y * width + 1, end = (y + 1) * width - 1; i < end; i++) {
      if (Math.min(depth[i - 1]!, depth[i + 1]!, depth[i - width]!, depth[i + width]!) < LEAST_FRAMES) continue;
      out[i] = ((plane[i + 1]! - plane[i - 1]!) ** 2 + (plane[i + width]! - plane[i - width]!) ** 2) / 4;
    }
  }
  return out;
}

/** What a single frame may be misplaced by where the others agree, px: bends that patches have not caught. */
const LEFT_PX = 0.3;
/** Towards a frame's border nothing tells how the air has bent it any more: what it may be misplaced by there, px. */
const ADRIFT_PX = 1;
const BORDER_PX = 64;

/** A frame's light on the ground, NaN where it shows nothing, and how well its place is known there, 0..1. */
function onGround(
  frame: FineFrame,
  { lift, x0, y0, width, height }: TransientInput,
): { readonly light: Float32Array; readonly known: Float32Array } {
  const out = new Float32Array(width * height).fill(Number.NaN);
  const [first, last] = rowsSeen(frame, y0, y0 + height);
  if (first === last) return { light: out, known: out };
  const { light } = frame;
  const own = new Float32Array(light.width * light.height);
  groundLight(frame, lift, first, last, own);
  const sums = {
    x0,
    y0,
    width,
    height,
    planes: [new Float32Array(width * height)],
    weight: new Float32Array(width * height),
  };
  accumulateWithKernels({
    sums,
    rows: [0, height],
    frame: { width: light.width, height: light.height, planes: [own] },
    plateToFrame: invert(frame.pose),
    frameWeight: 1,
    featherPx: BORDER_PX,
    bend: frame.onGround,
  });
  for (let i = 0; i < out.length; i++)
    if (sums.weight[i]! > LEAST_WEIGHT) out[i] = sums.planes[0]![i]! / sums.weight[i]!;
  return { light: out, known: sums.weight };
}

/** Less of the weight of a frame is nothing but its outermost pixels. */
const LEAST_WEIGHT = 1e-4;

/** Means over 3 x 3 px, binomial; NaN spreads by a px. */
function smoothed(plane: Float32Array, width: number, height: number): Float32Array {
  const rows = new Float32Array(plane.length).fill(Number.NaN);
  for (let y = 0; y < height; y++) {
    for (let i = y * width + 1, end = (y + 1) * width - 1; i < end; i++) {
      rows[i] = (plane[i - 1]! + 2 * plane[i]! + plane[i + 1]!) / 4;
    }
  }
  const out = new Float32Array(plane.length).fill(Number.NaN);
  for (let i = width; i < plane.length - width; i++) out[i] = (rows[i - width]! + 2 * rows[i]! + rows[i + width]!) / 4;
  return out;
}

/** Mean over squares of what is deep enough, by running sums. */
function boxMean(plane: Float32Array, depth: Uint16Array, width: number, height: number, reach: number): Float32Array {
  const sums = new Float64Array((width + 1) * (height + 1));
  const counts = new Uint32Array(sums.length);
  for (let y = 0; y < height; y++) {
    let [sum, count] = [0, 0];
    for (let x = 0; x < width; x++) {
      const i = y * width + x;
      if (depth[i]! >= LEAST_FRAMES) {
        sum += plane[i]!;
        count++;
      }
      const at = (y + 1) * (width + 1) + x + 1;
      sums[at] = sums[at - width - 1]! + sum;
      counts[at] = counts[at - width - 1]! + count;
    }
  }
  const out = new Float32Array(plane.length);
  for (let y = 0; y < height; y++) {
    const top = Math.max(0, y - reach) * (width + 1);
    const bottom = Math.min(height, y + reach + 1) * (width + 1);
    for (let x = 0; x < width; x++) {
      const [left, right] = [Math.max(0, x - reach), Math.min(width, x + reach + 1)];
      const count = counts[bottom + right]! - counts[bottom + left]! - counts[top + right]! + counts[top + left]!;
      const sum = sums[bottom + right]! - sums[bottom + left]! - sums[top + right]! + sums[top + left]!;
      out[y * width + x] = count > 0 ? sum / count : 0;
    }
  }
  return out;
}

/** Seeds, and what is joined to them, by index, ascending. */
function intruding(
  plane: Float32Array,
  middle: Float32Array,
  limit: Float32Array,
  depth: Uint16Array,
  width: number,
  height: number,
): number[] {
  const isOff = (i: number, sigmas: number): boolean =>
    depth[i]! >= LEAST_FRAMES && Math.abs(plane[i]! - middle[i]!) > sigmas * limit[i]!;
  const found = new Set<number>();
  const next: number[] = [];
  for (let i = 0; i < plane.length; i++) {
    if (isOff(i, SEED_SIGMA)) {
      found.add(i);
      next.push(i);
    }
  }
  while (next.length > 0) {
    const i = next.pop()!;
    const [x, y] = [i % width, Math.floor(i / width)];
    for (let v = Math.max(0, y - 1); v <= Math.min(height - 1, y + 1); v++) {
      for (let u = Math.max(0, x - 1); u <= Math.min(width - 1, x + 1); u++) {
        const j = v * width + u;
        if (found.has(j) || !isOff(j, JOINED_SIGMA)) continue;
        found.add(j);
        next.push(j);
      }
    }
  }
  return [...found].sort((a, b) => a - b);
}

const shares = new Map<number, number>();

/** Variance that so many normal deviates keep without their largest and smallest one, about the mean of the rest. */
function trimmedShare(count: number): number {
  const known = shares.get(count);
  if (known !== undefined) return known;
  const random = createRandom(`trimmed ${count}`);
  const trials = Math.ceil(TRIALS / count);
  let sum = 0;
  for (let t = 0; t < trials; t++) {
    const sorted = Array.from({ length: count }, () => random.normal()).sort((a, b) => a - b);
    const kept = sorted.slice(1, -1);
    const mean = kept.reduce((s, v) => s + v, 0) / kept.length;
    sum += kept.reduce((s, v) => s + (v - mean) ** 2, 0) / kept.length;
  }
  shares.set(count, sum / trials);
  return sum / trials;
}

const TRIALS = 40_000;
