import { type Affine, applyX, applyY } from '../compute/affine.js';
import { bilinearAt, cubicAt } from '../compute/sample.js';
import { invertSymmetric, solveInPlace } from '../compute/small-solve.js';
import type { DetailPicture } from './align.js';
import { type Gradient, gradientOf } from './gradient.js';

/** Settings of the patch measurement. */
export interface PatchSettings {
  /** Side of a square patch, moving px. */
  readonly sizePx: number;
  /** Distance of neighbouring patch centres, moving px. */
  readonly stepPx: number;
  /** Every n-th row and column within a patch takes part. */
  readonly stridePx: number;
  /** A patch whose correlation stays below this is not used. */
  readonly minCorrelation: number;
  /** A patch that wants to move farther than this is not used, px. */
  readonly maxShiftPx: number;
}

export const PATCH_DEFAULTS: PatchSettings = {
  sizePx: 64,
  stepPx: 48,
  stridePx: 2,
  minCorrelation: 0.5,
  maxShiftPx: 6,
};

/** The local shift of one patch. */
export interface PatchShift {
  /** Centre of the patch, moving px. */
  readonly x: number;
  readonly y: number;
  /** What must be added to the pose's answer at the centre so that both pictures agree there, fixed px. */
  readonly dx: number;
  readonly dy: number;
  /** Covariance of (dx, dy) from noise alone, fixed px². */
  readonly cxx: number;
  readonly cxy: number;
  readonly cyy: number;
  /** Weighted correlation of the patch after the shift. */
  readonly correlation: number;
}

/**
 * Measures local shifts on a grid of patches by iterative least squares with gain and offset free in each patch,
 * against a fixed picture, starting from a pose that is right to a few px. Patches without detail in two directions,
 * or that do not agree, give nothing.
 */
export function measurePatches(
  fixed: DetailPicture,
  moving: DetailPicture,
  pose: Affine,
  settings: PatchSettings = PATCH_DEFAULTS,
): PatchShift[] {
  const gradient = gradientOf(fixed.detail);
  const shifts: PatchShift[] = [];
  const half = settings.sizePx / 2;
  const box = coveredBox(moving);
  const across = centres(box.x0, box.x1, settings);
  const down = centres(box.y0, box.y1, settings);
  for (const y of down) {
    for (const x of across) {
      const u = applyX(pose, x, y);
      const v = applyY(pose, x, y);
      if (u < half || v < half || u > fixed.detail.width - 1 - half || v > fixed.detail.height - 1 - half) continue;
      const shift = measureOne(fixed, gradient, moving, pose, x, y, settings);
      if (shift) shifts.push(shift);
    }
  }
  return shifts;
}

/** Patches keep this far from the edge, so that a small shift does not push the outermost ones over it. */
const EDGE_PX = 2;

function centres(from: number, to: number, settings: PatchSettings): number[] {
  const first = from + settings.sizePx / 2 + EDGE_PX;
  const span = to - settings.sizePx / 2 - EDGE_PX - first;
  if (span < 0) return [];
  const count = Math.max(1, Math.round(span / settings.stepPx) + 1);
  const step = count > 1 ? span / (count - 1) : 0;
  return Array.from({ length: count }, (_, i) => Math.round(first + (count > 1 ? i * step : span / 2)));
}

/** First and last column and row that hold anything covered. */
function coveredBox({ detail, coverage }: DetailPicture): { x0: number; x1: number; y0: number; y1: number } {
  const { width, height } = detail;
  if (!coverage) return { x0: 0, x1: width - 1, y0: 0, y1: height - 1 };
  const box = { x0: width, x1: -1, y0: height, y1: -1 };
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      if (coverage.data[y * width + x]! < 0.5) continue;
      box.x0 = Math.min(box.x0, x);
      box.x1 = Math.max(box.x1, x);
      box.y0 = Math.min(box.y0, y);
      box.y1 = y;
    }
  }
  return box;
}

const ITERATIONS = 8;
const CONVERGED_PX = 2e-3;

function measureOne(
  fixed: DetailPicture,
  gradient: Gradient,
  moving: DetailPicture,
  pose: Affine,
  x: number,
  y: number,
  settings: PatchSettings,
): PatchShift | undefined {
  let dx = 0;
  let dy = 0;
  for (let iteration = 0; iteration < ITERATIONS; iteration++) {
    const sums = sumPatch(fixed, gradient, moving, pose, x, y, dx, dy, settings);
    if (!sums) return undefined;
    const normal = Float64Array.from(sums.normal);
    const step = Float64Array.from(sums.right);
    if (!solveInPlace(normal, step, 4)) return undefined;
    dx += step[0]!;
    dy += step[1]!;
    if (Math.hypot(dx, dy) > settings.maxShiftPx) return undefined;
    if (Math.hypot(step[0]!, step[1]!) < CONVERGED_PX || iteration === ITERATIONS - 1) {
      if (sums.correlation < settings.minCorrelation) return undefined;
      const inverse = invertSymmetric(sums.normal, 4);
      if (!inverse) return undefined;
      const { variance } = sums;
      return {
        x,
        y,
        dx,
        dy,
        cxx: inverse[0]! * variance,
        cxy: inverse[1]! * variance,
        cyy: inverse[5]! * variance,
        correlation: sums.correlation,
      };
    }
  }
  return undefined;
}

/** Detail after the fine blur is alike over about this many px², so that samples are not independent. */
const NOISE_AREA_PX = 12;

function sumPatch(
  fixed: DetailPicture,
  gradient: Gradient,
  moving: DetailPicture,
  pose: Affine,
  x: number,
  y: number,
  dx: number,
  dy: number,
  settings: PatchSettings,
) {
  const { width, height, data } = fixed.detail;
  const half = settings.sizePx / 2;
  const normal = new Float64Array(16);
  const right = new Float64Array(4);
  const stride = settings.stridePx;
  let sw = 0;
  let sf = 0;
  let sm = 0;
  let sff = 0;
  let smm = 0;
  let sfm = 0;
  for (let j = -half; j < half; j += stride) {
    const wy = 1 - (j / half) ** 2;
    for (let i = -half; i < half; i += stride) {
      const px = x + i;
      const py = y + j;
      const k = py * moving.detail.width + px;
      if (moving.coverage && moving.coverage.data[k]! < 0.5) return undefined;
      const u = applyX(pose, px, py) + dx;
      const v = applyY(pose, px, py) + dy;
      if (u < 1 || v < 1 || u > width - 2 || v > height - 2) return undefined;
      if (fixed.coverage && bilinearAt(fixed.coverage.data, width, height, u, v) < 0.99) return undefined;
      const w = wy * (1 - (i / half) ** 2);
      const f = cubicAt(data, width, height, u, v);
      const m = moving.detail.data[k]!;
      const gx = bilinearAt(gradient.x, width, height, u, v);
      const gy = bilinearAt(gradient.y, width, height, u, v);
      normal[0]! += w * gx * gx;
      normal[4]! += w * gx * gy;
      normal[5]! += w * gy * gy;
      normal[8]! -= w * gx * m;
      normal[9]! -= w * gy * m;
      normal[10]! += w * m * m;
      normal[12]! -= w * gx;
      normal[13]! -= w * gy;
      normal[14]! += w * m;
      right[0]! -= w * gx * f;
      right[1]! -= w * gy * f;
      right[2]! += w * m * f;
      right[3]! += w * f;
      sw += w;
      sf += w * f;
      sm += w * m;
      sff += w * f * f;
      smm += w * m * m;
      sfm += w * f * m;
    }
  }
  normal[15] = sw;
  const vf = sff - (sf * sf) / sw;
  const vm = smm - (sm * sm) / sw;
  if (!(vf > 0) || !(vm > 0)) return undefined;
  const correlation = (sfm - (sf * sm) / sw) / Math.sqrt(vf * vm);
  const variance = (Math.max(0, 1 - correlation * correlation) * vf) / sw;
  return { normal, right, correlation, variance: (variance * NOISE_AREA_PX) / (stride * stride) };
}
