// What the kernels stand for, in plain double precision: the yardstick of their tests.
import { type Affine, applyX, applyY, invert } from '../src/compute/affine.js';
import { createPlane, type Plane } from '../src/compute/image.js';
import type { PoseSumsInput } from '../src/compute/kernels-pose-sums.js';
import { bilinearAt, cubicAt } from '../src/compute/sample.js';

/** Columns that are gathered at a time, so that the vertical pass reads whole cache lines. */
const COLUMN_BLOCK = 16;

/**
 * The plane convolved with a Gaussian of standard deviation `sigmaPx` (pixels of the plane, finite, not negative),
 * cut off at 4 sigma and normalised to a sum of 1. Separable; borders are mirrored about the centres of the edge pixels
 * (… c b a b c …), so a constant plane stays constant. A sigma of 0 gives a copy. The sums run in double precision.
 * Throws RangeError for any other sigma.
 */
export function plainBlur(plane: Plane, sigmaPx: number): Plane {
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

/** Mean over factor × factor blocks; an incomplete last row or column of blocks is dropped. Factor 1 copies. */
export function plainBin(plane: Plane, factor: number): Plane {
  const width = Math.floor(plane.width / factor);
  const height = Math.floor(plane.height / factor);
  const out = createPlane(width, height);
  const scale = 1 / (factor * factor);
  for (let y = 0; y < height; y++) {
    for (let dy = 0; dy < factor; dy++) {
      const row = (y * factor + dy) * plane.width;
      for (let x = 0; x < width; x++) {
        let sum = 0;
        for (let dx = 0; dx < factor; dx++) sum += plane.data[row + x * factor + dx]!;
        out.data[y * width + x]! += sum * scale;
      }
    }
  }
  return out;
}

/**
 * Resamples a plane through a pose (source px -> target px) onto a target grid by cubic convolution. Also returns the
 * coverage: 1 where the target pixel's centre falls between the source's outermost pixel centres, 0 elsewhere; the
 * plane is 0 there.
 */
export function plainWarp(
  source: Plane,
  pose: Affine,
  width: number,
  height: number,
): { plane: Plane; coverage: Plane } {
  const plane = createPlane(width, height);
  const coverage = createPlane(width, height);
  const back = invert(pose);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const sx = applyX(back, x, y);
      const sy = applyY(back, x, y);
      if (sx < 0 || sy < 0 || sx > source.width - 1 || sy > source.height - 1) continue;
      const i = y * width + x;
      plane.data[i] = cubicAt(source.data, source.width, source.height, sx, sy);
      coverage.data[i] = 1;
    }
  }
  return { plane, coverage };
}

/** Central differences; one-sided halves at the border. */
export function plainGradient(plane: Plane): { readonly x: Float32Array; readonly y: Float32Array } {
  const { width, height, data } = plane;
  const gx = new Float32Array(data.length);
  const gy = new Float32Array(data.length);
  for (let y = 0; y < height; y++) {
    const up = y > 0 ? -width : 0;
    const down = y < height - 1 ? width : 0;
    for (let x = 0; x < width; x++) {
      const i = y * width + x;
      gx[i] = (data[i + (x < width - 1 ? 1 : 0)]! - data[i - (x > 0 ? 1 : 0)]!) / 2;
      gy[i] = (data[i + down]! - data[i + up]!) / 2;
    }
  }
  return { x: gx, y: gy };
}

/** The sums written out in double precision: lower triangle of the products of all terms, and the count. */
export function plainPoseSums(input: PoseSumsInput) {
  const { pose, parameters: n, centre, reachPx: reach, stridePx = 1 } = input;
  const fixed = input.fixed as {
    [K in keyof PoseSumsInput['fixed']]: PoseSumsInput['fixed'][K] & Float32Array & number;
  };
  const moving = input.moving as {
    [K in keyof PoseSumsInput['moving']]: PoseSumsInput['moving'][K] & Float32Array & number;
  };
  const { width: w, height: h } = fixed;
  const { x0, y0, x1, y1 } = input.box ?? { x0: 0, y0: 0, x1: moving.width, y1: moving.height };
  const size = n + 3;
  const sums = new Float64Array(size * size);
  const sizes = new Float64Array(size * size);
  let count = 0;
  for (let y = y0; y < y1; y += stridePx) {
    for (let x = x0; x < x1; x += stridePx) {
      const j = y * moving.width + x;
      const [u, v] = [applyX(pose, x, y), applyY(pose, x, y)];
      if (moving.coverage && moving.coverage[j]! < 0.5) continue;
      if (u < 1 || v < 1 || u > w - 2 || v > h - 2) continue;
      if (fixed.coverage && bilinearAt(fixed.coverage, w, h, u, v) < 0.99) continue;
      const along = (t: number, from: number, to: number): number => 1 - ((2 * (t - from)) / (to - from) - 1) ** 2;
      const weight = (input.isWindowed ? along(x, x0, x1) * along(y, y0, y1) : 1) * (moving.weight?.[j] ?? 1);
      if (!(weight > 0)) continue;
      const gx = bilinearAt(fixed.gradientX, w, h, u, v);
      const gy = bilinearAt(fixed.gradientY, w, h, u, v);
      const [du, dv] = [(u - centre.x) / reach, (v - centre.y) / reach];
      const shape = [gx, gy, gy * du - gx * dv, gx * du + gy * dv, gy * dv].slice(0, n);
      const terms = [...shape, -moving.data[j]!, -1, cubicAt(fixed.data, w, h, u, v)];
      for (let p = 0; p < size; p++) {
        for (let q = 0; q <= p; q++) {
          sums[p * size + q]! += weight * terms[p]! * terms[q]!;
          sizes[p * size + q]! += weight * Math.abs(terms[p]! * terms[q]!);
        }
      }
      count++;
    }
  }
  return { sums, sizes, count };
}
