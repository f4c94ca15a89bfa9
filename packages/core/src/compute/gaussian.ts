import { createPlane, type Plane } from './image.js';

/** Columns that are gathered at a time, so that the vertical pass reads whole cache lines. */
const COLUMN_BLOCK = 16;

/**
 * The plane convolved with a Gaussian of standard deviation `sigmaPx` (pixels of the plane, finite, not negative),
 * cut off at 4 sigma and normalised to a sum of 1. Separable; borders are mirrored about the centres of the edge pixels
 * (… c b a b c …), so a constant plane stays constant. A sigma of 0 gives a copy. The sums run in double precision.
 * Throws RangeError for any other sigma.
 */
export function gaussianBlur(plane: Plane, sigmaPx: number): Plane {
  if (!(sigmaPx >= 0 && sigmaPx < Infinity)) throw new RangeError(`sigmaPx must be finite and >= 0, got ${sigmaPx}`);
  const { width, height } = plane;
  const out = createPlane(width, height);
  if (sigmaPx === 0) {
    out.data.set(plane.data);
    return out;
  }
  const half = halfKernel(sigmaPx);
  blurRows(plane, out, half);
  blurColumns(out, half);
  return out;
}

/** Weights at offsets 0, 1, … of the normalised kernel. */
function halfKernel(sigmaPx: number): Float64Array {
  const radius = Math.max(1, Math.round(4 * sigmaPx));
  const half = Float64Array.from({ length: radius + 1 }, (_, i) => Math.exp((-i * i) / (2 * sigmaPx * sigmaPx)));
  let sum = half[0]!;
  for (let i = 1; i <= radius; i++) sum += 2 * half[i]!;
  return half.map((weight) => weight / sum);
}

function blurRows(from: Plane, to: Plane, half: Float64Array): void {
  const { width, height } = from;
  const radius = half.length - 1;
  const padded = new Float64Array(width + 2 * radius);
  const result = new Float64Array(width);
  for (let y = 0; y < height; y++) {
    const start = y * width;
    for (let x = 0; x < width; x++) padded[radius + x] = from.data[start + x]!;
    mirrorEnds(padded, 0, width, radius);
    convolveLine(padded, 0, result, 0, width, half);
    to.data.set(result, start);
  }
}

function blurColumns(plane: Plane, half: Float64Array): void {
  const { width, height, data } = plane;
  const radius = half.length - 1;
  const stride = height + 2 * radius;
  const padded = new Float64Array(stride * COLUMN_BLOCK);
  const result = new Float64Array(height * COLUMN_BLOCK);
  for (let x0 = 0; x0 < width; x0 += COLUMN_BLOCK) {
    const count = Math.min(COLUMN_BLOCK, width - x0);
    for (let y = 0; y < height; y++) {
      for (let k = 0; k < count; k++) padded[k * stride + radius + y] = data[y * width + x0 + k]!;
    }
    for (let k = 0; k < count; k++) {
      mirrorEnds(padded, k * stride, height, radius);
      convolveLine(padded, k * stride, result, k * height, height, half);
    }
    for (let y = 0; y < height; y++) {
      for (let k = 0; k < count; k++) data[y * width + x0 + k] = result[k * height + y]!;
    }
  }
}

/** Fills `radius` samples on both sides of the `n` samples that lie at `start + radius`. */
function mirrorEnds(padded: Float64Array, start: number, n: number, radius: number): void {
  const origin = start + radius;
  const period = 2 * (n - 1);
  const mirrored = (i: number): number => {
    if (period === 0) return 0;
    if (i < 0 && i > -n) return -i;
    const m = ((i % period) + period) % period;
    return m < n ? m : period - m;
  };
  for (let i = 1; i <= radius; i++) {
    padded[origin - i] = padded[origin + mirrored(-i)]!;
    padded[origin + n - 1 + i] = padded[origin + mirrored(n - 1 + i)]!;
  }
}

/** `to[toStart + x]` = sum of the kernel over `padded[start + x …]`, four neighbours at a time to share the loads. */
function convolveLine(
  padded: Float64Array,
  start: number,
  to: Float64Array,
  toStart: number,
  n: number,
  half: Float64Array,
): void {
  const radius = half.length - 1;
  const centre = half[0]!;
  let x = 0;
  for (; x + 3 < n; x += 4) {
    const c = start + radius + x;
    let [l0, l1, l2, l3] = [padded[c]!, padded[c + 1]!, padded[c + 2]!, padded[c + 3]!];
    let [r0, r1, r2, r3] = [l0, l1, l2, l3];
    let [s0, s1, s2, s3] = [centre * l0, centre * l1, centre * l2, centre * l3];
    for (let i = 1; i <= radius; i++) {
      const weight = half[i]!;
      l3 = l2;
      l2 = l1;
      l1 = l0;
      l0 = padded[c - i]!;
      r0 = r1;
      r1 = r2;
      r2 = r3;
      r3 = padded[c + 3 + i]!;
      s0 += weight * (l0 + r0);
      s1 += weight * (l1 + r1);
      s2 += weight * (l2 + r2);
      s3 += weight * (l3 + r3);
    }
    to[toStart + x] = s0;
    to[toStart + x + 1] = s1;
    to[toStart + x + 2] = s2;
    to[toStart + x + 3] = s3;
  }
  for (; x < n; x++) {
    const c = start + radius + x;
    let sum = centre * padded[c]!;
    for (let i = 1; i <= radius; i++) sum += half[i]! * (padded[c - i]! + padded[c + i]!);
    to[toStart + x] = sum;
  }
}
