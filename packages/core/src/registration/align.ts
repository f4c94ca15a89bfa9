import { type Affine, applyX, applyY, compose } from '../compute/affine.js';
import type { Plane } from '../compute/image.js';
import { withKernels } from '../compute/kernels.js';
import { type PoseSums, poseSums } from '../compute/kernels-pose-sums.js';
import { solveInPlace } from '../compute/small-solve.js';
import { type HeldPair, holdPair } from './held-pair.js';

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
  return withKernels((scope) => alignHeld(holdPair(scope, fixed, moving), initial, settings));
}

/** {@link alignPair} of pictures that are held. */
export function alignHeld(pair: HeldPair, initial: Affine, settings: AlignSettings): Alignment | undefined {
  const n = UNKNOWNS[settings.freedom];
  let pose = initial;
  let state = accumulate(pair, pose, settings.stridePx, n);
  let converged = false;
  for (let iteration = 0; iteration < settings.maxIterations && !converged; iteration++) {
    if (state.samples < MIN_SAMPLES) return undefined;
    if (!solveInPlace(state.normal, state.right, n + 2)) return undefined;
    pose = compose(stepOf(state, n), pose);
    converged = Math.hypot(...state.right.subarray(0, n)) < CONVERGED_PX;
    state = accumulate(pair, pose, settings.stridePx, n);
  }
  if (state.samples < MIN_SAMPLES) return undefined;
  return { pose, correlation: state.correlation, samples: state.samples, converged };
}

const UNKNOWNS: Readonly<Record<AlignFreedom, 2 | 3 | 4>> = { shift: 2, rigid: 3, similarity: 4 };
const MIN_SAMPLES = 200;
const CONVERGED_PX = 1e-3;

interface State extends PoseSums {
  readonly cx: number;
  readonly cy: number;
  readonly reach: number;
}

/** Normal equations of fixed(x) + ∇fixed·d(x) = gain · moving + offset, d a small similarity about the moving centre. */
function accumulate(pair: HeldPair, pose: Affine, stridePx: number, n: 2 | 3 | 4): State {
  const { width, height } = pair.moving;
  const cx = applyX(pose, (width - 1) / 2, (height - 1) / 2);
  const cy = applyY(pose, (width - 1) / 2, (height - 1) / 2);
  const reach = Math.hypot(width, height) / 2;
  const sums = poseSums({ ...pair, pose, stridePx, parameters: n, centre: { x: cx, y: cy }, reachPx: reach });
  return { ...sums, cx, cy, reach };
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
