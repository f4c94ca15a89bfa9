import { type Affine, invert } from '../compute/affine.js';
import { type KernelScope, withKernels } from '../compute/kernels.js';
import { type PatchPictures, patchSummer, type SumPatch } from '../compute/kernels-patch-sums.js';
import type { PoseSums } from '../compute/kernels-pose-sums.js';
import { holdResampled } from '../compute/kernels-resample.js';
import { invertSymmetric, solveInPlace } from '../compute/small-solve.js';
import type { DetailPicture } from './align.js';

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
 * against a fixed picture, starting from a pose that is right to a few px. Patches without detail in two directions, or
 * that do not agree, give nothing.
 */
export function measurePatches(
  fixed: DetailPicture,
  moving: DetailPicture,
  pose: Affine,
  settings: PatchSettings = PATCH_DEFAULTS,
): PatchShift[] {
  const { width, height } = moving.detail;
  return withKernels((scope) => {
    const mask = fixed.coverage?.data;
    const seen = holdResampled(scope, fixed.detail, invert(pose), width, height, mask && { mask });
    const grid = { width, height, fixed: seen.value, cover: seen.covered, moving: scope.put(moving.detail.data) };
    const { xx, xy, yx, yy } = pose;
    return measureOnGrid(scope, grid, coveredBox(moving), settings).map((s) => ({
      ...s,
      dx: xx * s.dx + xy * s.dy,
      dy: yx * s.dx + yy * s.dy,
      cxx: xx * xx * s.cxx + 2 * xx * xy * s.cxy + xy * xy * s.cyy,
      cxy: xx * yx * s.cxx + (xx * yy + xy * yx) * s.cxy + xy * yy * s.cyy,
      cyy: yx * yx * s.cxx + 2 * yx * yy * s.cxy + yy * yy * s.cyy,
    }));
  });
}

/** First and last column and row of what may be used of a picture. */
export interface UsableBox {
  readonly x0: number;
  readonly y0: number;
  readonly x1: number;
  readonly y1: number;
}

/** What a patch at (x, y) is thought to be shifted by, px. */
export type StartAt = (x: number, y: number) => readonly [number, number];

/** {@link measurePatches} of a fixed picture that has been brought on the moving one's grid: all in moving px. */
export function measureOnGrid(
  scope: KernelScope,
  grid: PatchPictures,
  box: UsableBox,
  settings: PatchSettings,
  startAt: StartAt = () => [0, 0],
): PatchShift[] {
  const sum = patchSummer(scope, grid, settings.sizePx, settings.stridePx);
  const across = centres(box.x0, box.x1, settings);
  return centres(box.y0, box.y1, settings).flatMap((y) =>
    across.flatMap((x) => measureOne(sum, x, y, settings, startAt(x, y)) ?? []),
  );
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

/** The box that holds everything covered. */
function coveredBox({ detail, coverage }: DetailPicture): UsableBox {
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
/** A step that short leaves a tenth of itself. */
const CONVERGED_PX = 0.03;

function measureOne(
  sum: SumPatch,
  x: number,
  y: number,
  settings: PatchSettings,
  start: readonly [number, number],
): PatchShift | undefined {
  const half = settings.sizePx / 2;
  let [dx, dy] = start;
  const [factor, step] = [new Float64Array(16), new Float64Array(4)];
  for (let iteration = 0; iteration < ITERATIONS; iteration++) {
    const sums = sum(x - half, y - half, dx, dy);
    if (!sums || sums.correlation === 0) return undefined;
    const { normal, right, correlation } = sums;
    factor.set(normal);
    step.set(right);
    if (!solveInPlace(factor, step, 4)) return undefined;
    dx += step[0]!;
    dy += step[1]!;
    if (!(Math.hypot(dx, dy) <= settings.maxShiftPx)) return undefined;
    if (Math.hypot(step[0]!, step[1]!) < CONVERGED_PX || iteration === ITERATIONS - 1) {
      if (correlation < settings.minCorrelation) return undefined;
      const inverse = invertSymmetric(normal, 4);
      if (!inverse) return undefined;
      const variance = varianceOf(sums, settings.stridePx);
      return {
        x,
        y,
        dx,
        dy,
        cxx: inverse[0]! * variance,
        cxy: inverse[1]! * variance,
        cyy: inverse[5]! * variance,
        correlation,
      };
    }
  }
  return undefined;
}

/** Detail after the fine blur is alike over about this many px², so that samples are not independent. */
const NOISE_AREA_PX = 12;

/** Variance of what is left over, as if samples were independent. */
function varianceOf({ correlation, fixedSquares, right, weight }: PoseSums, stridePx: number): number {
  const variance = (Math.max(0, 1 - correlation ** 2) * (fixedSquares - right[3]! ** 2 / weight)) / weight;
  return (variance * NOISE_AREA_PX) / (stridePx * stridePx);
}
