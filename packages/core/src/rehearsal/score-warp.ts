import { createPlane, type Plane } from '../compute/image.js';
import { invertSimilarity, type Similarity } from '../compute/similarity.js';

/** How values between pixels are made: from 2 x 2 neighbours, or from 4 x 4 (cubic convolution with a = −0.75). */
export type WarpKernel = 'linear' | 'cubic';

/** Slope of the cubic kernel at 1 px (Keys 1981 calls it a). −0.75 keeps a little more fine detail than Keys's −0.5. */
const CUBIC_SLOPE = -0.75;

/**
 * The plane carried over by `map` (plane px to output px) on a grid of `width` x `height`. Outside the plane the value
 * is 0. Interpolates only: when the map shrinks much below 1, the caller has to low-pass first.
 */
export function warpSimilarity(
  plane: Plane,
  map: Similarity,
  width: number,
  height: number,
  kernel: WarpKernel,
): Plane {
  const inverse = invertSimilarity(map);
  const out = createPlane(width, height);
  const sample = kernel === 'cubic' ? sampleCubic : sampleLinear;
  for (let y = 0; y < height; y++) {
    const rowX = inverse.tx - inverse.b * y;
    const rowY = inverse.ty + inverse.a * y;
    for (let x = 0; x < width; x++) {
      out.data[y * width + x] = sample(plane, inverse.a * x + rowX, inverse.b * x + rowY);
    }
  }
  return out;
}

/** Bilinear value of the plane at (x, y) px; neighbours outside count as 0. */
function sampleLinear(plane: Plane, x: number, y: number): number {
  const { width, height, data } = plane;
  const x0 = Math.floor(x);
  const y0 = Math.floor(y);
  const fx = x - x0;
  const fy = y - y0;
  let sum = 0;
  for (let j = 0; j < 2; j++) {
    const row = y0 + j;
    if (row < 0 || row >= height) continue;
    const left = x0 >= 0 && x0 < width ? data[row * width + x0]! : 0;
    const right = x0 + 1 >= 0 && x0 + 1 < width ? data[row * width + x0 + 1]! : 0;
    sum += (j === 0 ? 1 - fy : fy) * (left * (1 - fx) + right * fx);
  }
  return sum;
}

/** Cubic-convolution value of the plane at (x, y) px; neighbours outside count as 0. */
function sampleCubic(plane: Plane, x: number, y: number): number {
  const { width, height, data } = plane;
  const x0 = Math.floor(x);
  const y0 = Math.floor(y);
  if (x0 < -2 || y0 < -2 || x0 > width || y0 > height) return 0;
  const fx = x - x0;
  const fy = y - y0;
  const w0 = cubicOuter(1 + fx);
  const w1 = cubicInner(fx);
  const w2 = cubicInner(1 - fx);
  const w3 = 1 - w0 - w1 - w2;
  const inside = x0 >= 1 && x0 + 2 < width;
  const v0 = cubicOuter(1 + fy);
  const v1 = cubicInner(fy);
  const v2 = cubicInner(1 - fy);
  let sum = 0;
  for (let j = 0; j < 4; j++) {
    const row = y0 - 1 + j;
    if (row < 0 || row >= height) continue;
    const i = row * width + x0;
    const value = inside
      ? w0 * data[i - 1]! + w1 * data[i]! + w2 * data[i + 1]! + w3 * data[i + 2]!
      : (x0 >= 1 ? w0 * data[i - 1]! : 0) +
        (x0 >= 0 && x0 < width ? w1 * data[i]! : 0) +
        (x0 >= -1 && x0 + 1 < width ? w2 * data[i + 1]! : 0) +
        (x0 + 2 < width ? w3 * data[i + 2]! : 0);
    sum += value * (j === 0 ? v0 : j === 1 ? v1 : j === 2 ? v2 : 1 - v0 - v1 - v2);
  }
  return sum;
}

/** The kernel at a distance of 0 to 1 px. */
function cubicInner(t: number): number {
  return ((CUBIC_SLOPE + 2) * t - (CUBIC_SLOPE + 3)) * t * t + 1;
}

/** The kernel at a distance of 1 to 2 px. */
function cubicOuter(t: number): number {
  return ((CUBIC_SLOPE * t - 5 * CUBIC_SLOPE) * t + 8 * CUBIC_SLOPE) * t - 4 * CUBIC_SLOPE;
}
