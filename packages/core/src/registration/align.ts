import { type Affine, applyX, applyY, compose } from '../compute/affine.js';
import type { Plane } from '../compute/image.js';
import { bilinearAt, cubicAt } from '../compute/sample.js';
import { solveInPlace } from '../compute/small-solve.js';
import { type Gradient, gradientOf } from './gradient.js';

/** A detail plane (see {@link bandPass}) with the part of it that may be used (coverage above 1/2). */
export interface DetailPicture {
  readonly detail: Plane;
  readonly coverage?: Plane;
}

/** What may move. */
export type AlignFreedom = 'shift' | 'rigid' | 'similarity';

/** Settings of the least-squares alignment. */
export interface AlignSettings {
  readonly freedom: AlignFreedom;
  /** Every n-th row and column of the moving picture takes part. */
  readonly stridePx: number;
  readonly maxIterations: number;
}

export const ALIGN_DEFAULTS: AlignSettings = { freedom: 'rigid', stridePx: 2, maxIterations: 25 };

/** Outcome of {@link alignPair}. */
export interface Alignment {
  /** Moving px -> fixed px. */
  readonly pose: Affine;
  /** Normalised cross-correlation over the overlap at that pose. */
  readonly correlation: number;
  /** Number of samples that took part. */
  readonly samples: number;
  readonly converged: boolean;
}

/**
 * Refines a pose by iterative least squares (Gauss–Newton, Lucas & Kanade 1981) on the true overlap, with a gain and
 * an offset free. Draws in from about two σ of the finest detail kept. Undefined when the overlap runs empty.
 */
export function alignPair(
  fixed: DetailPicture,
  moving: DetailPicture,
  initial: Affine,
  settings: AlignSettings = ALIGN_DEFAULTS,
): Alignment | undefined {
  const gradient = gradientOf(fixed.detail);
  const n = UNKNOWNS[settings.freedom];
  let pose = initial;
  let state = accumulate(fixed, gradient, moving, pose, settings.stridePx, n);
  for (let iteration = 0; iteration < settings.maxIterations; iteration++) {
    if (state.samples < MIN_SAMPLES) return undefined;
    if (!solveInPlace(state.normal, state.right, n + 2)) return undefined;
    const step = stepOf(state, n);
    pose = compose(step, pose);
    const movedPx = Math.hypot(...state.right.subarray(0, n));
    state = accumulate(fixed, gradient, moving, pose, settings.stridePx, n);
    if (movedPx < CONVERGED_PX)
      return { pose, correlation: state.correlation, samples: state.samples, converged: true };
  }
  return { pose, correlation: state.correlation, samples: state.samples, converged: false };
}

const UNKNOWNS: Readonly<Record<AlignFreedom, number>> = { shift: 2, rigid: 3, similarity: 4 };
const MIN_SAMPLES = 200;
const CONVERGED_PX = 1e-3;

interface State {
  readonly normal: Float64Array;
  readonly right: Float64Array;
  readonly samples: number;
  readonly correlation: number;
  readonly cx: number;
  readonly cy: number;
  readonly reach: number;
}

/** Normal equations of fixed(x) + ∇fixed·d(x) = gain · moving + offset, d a small similarity about the overlap's centre. */
function accumulate(
  fixed: DetailPicture,
  gradient: Gradient,
  moving: DetailPicture,
  pose: Affine,
  stride: number,
  n: number,
): State {
  const { width, height, data } = fixed.detail;
  const size = n + 2;
  const normal = new Float64Array(size * size);
  const right = new Float64Array(size);
  const row = new Float64Array(size);
  const cx = applyX(pose, (moving.detail.width - 1) / 2, (moving.detail.height - 1) / 2);
  const cy = applyY(pose, (moving.detail.width - 1) / 2, (moving.detail.height - 1) / 2);
  const reach = Math.hypot(moving.detail.width, moving.detail.height) / 2;
  let samples = 0;
  let sf = 0;
  let sm = 0;
  let sff = 0;
  let smm = 0;
  let sfm = 0;
  for (let y = 0; y < moving.detail.height; y += stride) {
    for (let x = 0; x < moving.detail.width; x += stride) {
      const j = y * moving.detail.width + x;
      if (moving.coverage && moving.coverage.data[j]! < 0.5) continue;
      const u = applyX(pose, x, y);
      const v = applyY(pose, x, y);
      if (u < 1 || v < 1 || u > width - 2 || v > height - 2) continue;
      if (fixed.coverage && bilinearAt(fixed.coverage.data, width, height, u, v) < 0.99) continue;
      const f = cubicAt(data, width, height, u, v);
      const m = moving.detail.data[j]!;
      const gx = bilinearAt(gradient.x, width, height, u, v);
      const gy = bilinearAt(gradient.y, width, height, u, v);
      row[0] = gx;
      row[1] = gy;
      if (n > 2) row[2] = (gy * (u - cx) - gx * (v - cy)) / reach;
      if (n > 3) row[3] = (gx * (u - cx) + gy * (v - cy)) / reach;
      row[n] = -m;
      row[n + 1] = -1;
      for (let p = 0; p < size; p++) {
        for (let q = 0; q <= p; q++) normal[p * size + q]! += row[p]! * row[q]!;
        right[p]! -= row[p]! * f;
      }
      samples++;
      sf += f;
      sm += m;
      sff += f * f;
      smm += m * m;
      sfm += f * m;
    }
  }
  const vf = sff - (sf * sf) / Math.max(1, samples);
  const vm = smm - (sm * sm) / Math.max(1, samples);
  const correlation = vf > 0 && vm > 0 ? (sfm - (sf * sm) / samples) / Math.sqrt(vf * vm) : 0;
  return { normal, right, samples, correlation, cx, cy, reach };
}

function stepOf(state: State, n: number): Affine {
  const turn = n > 2 ? state.right[2]! / state.reach : 0;
  const grow = n > 3 ? state.right[3]! / state.reach : 0;
  const xx = 1 + grow;
  const xy = -turn;
  const norm = n > 3 ? 1 : 1 / Math.hypot(1, turn);
  const a = { xx: xx * norm, xy: xy * norm, yx: -xy * norm, yy: xx * norm };
  return {
    ...a,
    tx: state.cx + state.right[0]! - a.xx * state.cx - a.xy * state.cy,
    ty: state.cy + state.right[1]! - a.yx * state.cx - a.yy * state.cy,
  };
}
