import { gaussianBlur } from '../compute/gaussian.js';
import { createPlane, type Plane } from '../compute/image.js';
import { erodeSquare, type Mask } from '../compute/morphology.js';
import { quantile } from '../compute/quantile.js';
import type { WarpedPlate } from './score-geometry.js';

/** How the plate's light differs from the scene's, after one gain and one offset for the whole plate. */
export interface PhotometryScore {
  /** Share of the lit ground that the plate covers, 0 to 1. */
  readonly covered: number;
  /** Spread of ln(plate / scene), both blurred over 25 truth px: 0.01 is 1 %. */
  readonly lowfreqLogRatioStd: number;
  /** 99th percentile of that logarithm's distance from its median. */
  readonly lowfreqP99: number;
  /**
   * 99.9th percentile of the gradient of ln(plate / scene) blurred over 6 px, 0.001 per truth px: steps along seams,
   * edges of frames. Null when no lit ground is far enough from the edge of what is covered.
   */
  readonly seamGradP999: number | null;
  /** Peak (1) to rms difference over the covered lit ground, dB. */
  readonly psnrDb: number;
}

/** The score, and what the comparison of detail goes on with. */
export interface Photometry {
  readonly score: PhotometryScore;
  /** The plate's light after the gain and the offset. */
  readonly fitted: Plane;
  /** Lit ground of the scene, covered or not. */
  readonly lit: Mask;
  /** Lit and covered ground far from any edge. */
  readonly inner: Mask;
}

const LIT_SHARE = 0.05;
const COVERED_ABOVE = 0.99;
const CORE_SQUARE_PX = 25;
const INNER_SQUARE_PX = 61;
/** Pixels of the core that the gain is fitted to: every 37th. */
const FIT_STRIDE = 37;
const FIT_SIGMA_PX = 8;
const LOWFREQ_SIGMA_PX = 25;
const SEAM_SIGMA_PX = 6;
const SEAM_SMOOTHING_PX = 2;

/** Compares light; undefined when too little lit ground is covered. All figures on the grid of the truth. */
export function scorePhotometry(warped: WarpedPlate, scene: Plane): Photometry | undefined {
  const { width, height } = scene;
  const limit = LIT_SHARE * quantile(scene.data, 0.995);
  const lit: Mask = { width, height, data: Uint8Array.from(scene.data, (v) => (v > limit ? 1 : 0)) };
  const coveredLit: Mask = {
    width,
    height,
    data: lit.data.map((v, i) => (v && warped.coverage.data[i]! > COVERED_ABOVE ? 1 : 0)),
  };
  const core = erodeSquare(coveredLit, CORE_SQUARE_PX);
  const gain = fitGain(scene, warped.light, core);
  if (!gain) return undefined;
  const fitted = createPlane(width, height);
  for (let i = 0; i < fitted.data.length; i++) fitted.data[i] = (warped.light.data[i]! - gain.offset) / gain.factor;
  const inner = erodeSquare(core, INNER_SQUARE_PX);
  const lowfreq = within(logRatio(fitted, scene, core, LOWFREQ_SIGMA_PX), core);
  const median = quantile(lowfreq, 0.5);
  const score = {
    covered: count(coveredLit) / count(lit),
    lowfreqLogRatioStd: deviation(lowfreq),
    lowfreqP99: quantile(
      lowfreq.map((v) => Math.abs(v - median)),
      0.99,
    ),
    seamGradP999: seamGradient(fitted, scene, core, inner),
    psnrDb: psnr(fitted, scene, core),
  };
  return { score, fitted, lit, inner };
}

/** plate = factor · scene + offset by least squares over blurred samples of the core. */
function fitGain(scene: Plane, light: Plane, core: Mask): { factor: number; offset: number } | undefined {
  const x = within(gaussianBlur(scene, FIT_SIGMA_PX), core).filter((_, i) => i % FIT_STRIDE === 0);
  const y = within(gaussianBlur(light, FIT_SIGMA_PX), core).filter((_, i) => i % FIT_STRIDE === 0);
  const meanX = x.reduce((sum, v) => sum + v, 0) / x.length;
  const meanY = y.reduce((sum, v) => sum + v, 0) / y.length;
  let xx = 0;
  let xy = 0;
  for (let i = 0; i < x.length; i++) {
    xx += (x[i]! - meanX) ** 2;
    xy += (x[i]! - meanX) * (y[i]! - meanY);
  }
  const factor = xy / xx;
  return factor > 0 ? { factor, offset: meanY - factor * meanX } : undefined;
}

/** ln(plate / scene) of what both show inside the core when blurred; 0 outside it. */
function logRatio(fitted: Plane, scene: Plane, core: Mask, sigmaPx: number): Plane {
  const { width, height } = scene;
  const above = gaussianBlur({ width, height, data: fitted.data.map((v, i) => v * core.data[i]!) }, sigmaPx);
  const below = gaussianBlur({ width, height, data: scene.data.map((v, i) => v * core.data[i]!) }, sigmaPx);
  const out = createPlane(width, height);
  for (let i = 0; i < out.data.length; i++) {
    if (!core.data[i]) continue;
    const ratio = above.data[i]! / Math.max(below.data[i]!, 1e-4);
    out.data[i] = Math.log(Math.min(5, Math.max(0.2, ratio)));
  }
  return out;
}

function seamGradient(fitted: Plane, scene: Plane, core: Mask, inner: Mask): number | null {
  const { width, height, data } = gaussianBlur(logRatio(fitted, scene, core, SEAM_SIGMA_PX), SEAM_SMOOTHING_PX);
  const gradient = createPlane(width, height);
  for (let y = 0; y < height; y++) {
    const up = Math.max(0, y - 1);
    const down = Math.min(height - 1, y + 1);
    for (let x = 0; x < width; x++) {
      const left = Math.max(0, x - 1);
      const right = Math.min(width - 1, x + 1);
      const gx = (data[y * width + right]! - data[y * width + left]!) / Math.max(1, right - left);
      const gy = (data[down * width + x]! - data[up * width + x]!) / Math.max(1, down - up);
      gradient.data[y * width + x] = Math.hypot(gx, gy);
    }
  }
  const values = within(gradient, inner);
  return values.length === 0 ? null : quantile(values, 0.999) * 1e3;
}

function psnr(fitted: Plane, scene: Plane, core: Mask): number {
  let square = 0;
  for (let i = 0; i < fitted.data.length; i++) {
    if (core.data[i]) square += (fitted.data[i]! - scene.data[i]!) ** 2;
  }
  return 10 * Math.log10(count(core) / square);
}

/** The plane's values where the mask is set, in reading order. */
function within(plane: Plane, mask: Mask): Float32Array {
  return plane.data.filter((_, i) => mask.data[i] === 1);
}

function count(mask: Mask): number {
  let sum = 0;
  for (const v of mask.data) sum += v;
  return sum;
}

function deviation(values: Float32Array): number {
  let sum = 0;
  for (const v of values) sum += v;
  const mean = sum / values.length;
  let square = 0;
  for (const v of values) square += (v - mean) ** 2;
  return Math.sqrt(square / values.length);
}
