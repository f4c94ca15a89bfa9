import type { Plane } from '../compute/image.js';
import { valueAtRank } from '../compute/quantile.js';

/**
 * Standard deviation of the noise of a picture, from the median size of a second difference that is blind to planes
 * and edges along the axes (Immerkær 1996, with the median in place of the mean, so that terrain counts little).
 */
export function noiseSigma({ width, height, data }: Plane): number {
  return noiseOfRows(width, height, (y) => data.subarray((y - 1) * width, (y + 2) * width));
}

/** The same of a picture that is read three rows at a time: those around row y. */
export function noiseOfRows(width: number, height: number, around: (y: number) => Float32Array): number {
  if (width < 3 || height < 3) return 0;
  const step = Math.max(1, Math.floor(Math.sqrt((width * height) / SAMPLES)));
  const sizes = new Float64Array(Math.ceil((height - 2) / step) * Math.ceil((width - 2) / step));
  let count = 0;
  for (let y = 1; y < height - 1; y += step) {
    const data = around(y);
    for (let x = 1; x < width - 1; x += step) {
      const i = width + x;
      const up = data[i - width - 1]! - 2 * data[i - width]! + data[i - width + 1]!;
      const mid = data[i - 1]! - 2 * data[i]! + data[i + 1]!;
      const down = data[i + width - 1]! - 2 * data[i + width]! + data[i + width + 1]!;
      sizes[count++] = Math.abs(up - 2 * mid + down);
    }
  }
  return valueAtRank(sizes, Math.floor(count / 2)) / (MEDIAN_OF_ABSOLUTE_NORMAL * KERNEL_NORM);
}

const SAMPLES = 40_000;
const MEDIAN_OF_ABSOLUTE_NORMAL = 0.6745;
/** √(sum of the squared weights of the 3 × 3 kernel). */
const KERNEL_NORM = 6;
