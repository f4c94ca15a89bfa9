import { type Affine, applyX, applyY, compose, translation } from '../compute/affine.js';
import { withKernels } from '../compute/kernels.js';
import { poseSums } from '../compute/kernels-pose-sums.js';
import { invertSymmetric, solveInPlace } from '../compute/small-solve.js';
import type { DetailPicture } from './align.js';
import { type HeldPair, holdPair } from './held-pair.js';

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
 * against a fixed picture, starting from a pose that is right to a few px, or from what `startAt` adds to it. Patches without detail in two directions,
 * or that do not agree, give nothing.
 */
export function measurePatches(
  fixed: DetailPicture,
  moving: DetailPicture,
  pose: Affine,
  settings: PatchSettings = PATCH_DEFAULTS,
  startAt: StartAt = () => [0, 0],
): PatchShift[] {
  return withKernels((scope) => measureHeld(holdPair(scope, fixed, moving), fixed, moving, pose, settings, startAt));
}

/** What a patch at moving px (x, y) is thought to be shifted by, fixed px. */
export type StartAt = (x: number, y: number) => readonly [number, number];

function measureHeld(
  pair: HeldPair,
  fixed: DetailPicture,
  moving: DetailPicture,
  pose: Affine,
  settings: PatchSettings,
  startAt: StartAt,
): PatchShift[] {
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
      const shift = measureOne(pair, pose, x, y, settings, startAt(x, y));
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
const CONVERGED_PX = 1e-2;

function measureOne(
  pair: HeldPair,
  pose: Affine,
  x: number,
  y: number,
  settings: PatchSettings,
  start: readonly [number, number],
): PatchShift | undefined {
  let [dx, dy] = start;
  for (let iteration = 0; iteration < ITERATIONS; iteration++) {
    const sums = sumPatch(pair, pose, x, y, dx, dy, settings);
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

/** Sums over one patch moved by (dx, dy); undefined when any of its pixels is not covered in both, or it is flat. */
function sumPatch(
  pair: HeldPair,
  pose: Affine,
  x: number,
  y: number,
  dx: number,
  dy: number,
  { sizePx, stridePx }: PatchSettings,
) {
  const half = sizePx / 2;
  const sums = poseSums({
    ...pair,
    pose: compose(translation(dx, dy), pose),
    box: { x0: x - half, y0: y - half, x1: x + half, y1: y + half },
    stridePx,
    isWindowed: true,
    parameters: 2,
    centre: { x: 0, y: 0 },
    reachPx: 1,
  });
  const { normal, right, samples, correlation, fixedSquares, weight } = sums;
  // The first row and column of the window weigh nothing and are not counted.
  if (samples < (Math.ceil(sizePx / stridePx) - 1) ** 2 || correlation === 0) return undefined;
  const variance = (Math.max(0, 1 - correlation ** 2) * (fixedSquares - right[3]! ** 2 / weight)) / weight;
  return { normal, right, correlation, variance: (variance * NOISE_AREA_PX) / (stridePx * stridePx) };
}
