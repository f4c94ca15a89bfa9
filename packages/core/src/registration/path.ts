import { CholeskyDecomposition, Matrix } from 'ml-matrix';
import { type Affine, applyX, applyY, poseAbout } from '../compute/affine.js';
import type { PairMeasure } from './pair-tasks.js';

/** Two frames of a pass and what was measured between them. */
export interface FramePair {
  /** Index of the frame that stands still, and of the one that moves. */
  readonly fixed: number;
  readonly moving: number;
  readonly measure: PairMeasure;
}

/** The solved way of a pass through its strip. */
export interface SolvedPath {
  /** Frame px -> strip px for each frame that takes part, by frame index. */
  readonly poses: ReadonlyMap<number, Affine>;
  /** Field rotation, degrees a frame, x towards y. */
  readonly rotationDegPerFrame: number;
  /** Change of the vertical stretch a frame. */
  readonly squeezePerFrame: number;
  /** Spread of the frames about the smooth path, px per axis: the air's tilt. */
  readonly tiltPx: number;
  /** Spread of the patches after the solve, px per axis: the air's warps and noise. */
  readonly warpPx: number;
  /** Residual rms of each pair, px, same order as the input; large ones were set aside. */
  readonly pairResidualPx: readonly number[];
  /** Distance of each frame from the smooth path, px, by frame index. */
  readonly offPathPx: ReadonlyMap<number, number>;
}

/**
 * One linear least-squares solve for a whole pass. Unknown: a shift for every frame, one rate of field rotation, one
 * rate of vertical stretch, and a path quadratic in the frame number, which the shifts scatter about (the air's tilt),
 * so that errors do not add up along the chain. The observations are the patch shifts of every measured pair. The
 * spreads of warps and tilt are estimated in turn with the solution; pairs and frames that do not fit lose their weight
 * (Cauchy). The reference frame, in the middle, is not turned.
 */
export function solvePath(
  pairs: readonly FramePair[],
  frames: readonly number[],
  widthPx: number,
  heightPx: number,
): SolvedPath {
  const reference = frames[Math.floor(frames.length / 2)]!;
  const problem = {
    pairs,
    frames,
    reference,
    centre: { x: (widthPx - 1) / 2, y: (heightPx - 1) / 2 },
    reach: widthPx / 2,
  };
  let state = startState(problem);
  for (let round = 0; round < ROUNDS; round++) state = reweigh(problem, solveOnce(problem, state), state);
  return describe(problem, state);
}

const ROUNDS = 8;
/** Patches of one pair share the air's large warps: they count as no more than this many independent ones. */
const INDEPENDENT_PATCHES = 9;
const CAUCHY = 2.385;
const LEAST_TILT_PX = 0.02;
const LEAST_WARP_PX = 0.01;

interface Problem {
  readonly pairs: readonly FramePair[];
  readonly frames: readonly number[];
  readonly reference: number;
  readonly centre: { readonly x: number; readonly y: number };
  readonly reach: number;
}

interface State {
  readonly unknowns: Float64Array;
  readonly warpPx: number;
  readonly tiltPx: number;
  readonly pairWeight: readonly number[];
  readonly frameWeight: readonly number[];
}

function startState(problem: Problem): State {
  return {
    unknowns: new Float64Array(2 * problem.frames.length + 8),
    warpPx: 0.5,
    tiltPx: 5,
    pairWeight: problem.pairs.map(() => 1),
    frameWeight: problem.frames.map(() => 1),
  };
}

/** Layout: shifts (x, y) per frame; rotation per frame · reach; stretch per frame · reach; path x (1, τ, τ²); path y. */
function solveOnce(problem: Problem, state: State): Float64Array {
  const { pairs, frames } = problem;
  const n = 2 * frames.length + 8;
  const a = new Matrix(n, n);
  const b = new Float64Array(n);
  const slot = new Map(frames.map((frame, i) => [frame, i]));
  const add = (terms: readonly (readonly [number, number])[], value: number, weight: number): void => {
    for (const [p, u] of terms) {
      b[p]! += weight * u * value;
      for (const [q, v] of terms) a.set(p, q, a.get(p, q) + weight * (u * v));
    }
  };
  pairs.forEach((pair, k) => {
    const i = slot.get(pair.fixed)!;
    const j = slot.get(pair.moving)!;
    const share = state.pairWeight[k]! * Math.min(1, INDEPENDENT_PATCHES / pair.measure.shifts.length);
    for (const o of observationsOf(problem, pair)) {
      const weight = share / (o.noise + 2 * state.warpPx ** 2);
      const turn = 2 * frames.length;
      // shift_i + s_i + rate_i·J·s_i  =  shift_j + s_j + rate_j·J·s_j
      add(
        [
          [2 * i, 1],
          [2 * j, -1],
          [turn, -o.ti * o.fy + o.tj * o.my],
        ],
        o.mx * problem.reach - o.fx * problem.reach,
        weight,
      );
      add(
        [
          [2 * i + 1, 1],
          [2 * j + 1, -1],
          [turn, o.ti * o.fx - o.tj * o.mx],
          [turn + 1, o.ti * o.fy - o.tj * o.my],
        ],
        (o.my - o.fy) * problem.reach,
        weight,
      );
    }
  });
  const span = Math.max(1, frames.length - 1);
  const path = 2 * frames.length + 2;
  frames.forEach((frame, i) => {
    const tau = (2 * (frame - problem.reference)) / span;
    const weight = state.frameWeight[i]! / state.tiltPx ** 2;
    add(
      [
        [2 * i, 1],
        [path, -1],
        [path + 1, -tau],
        [path + 2, -tau * tau],
      ],
      0,
      weight,
    );
    add(
      [
        [2 * i + 1, 1],
        [path + 3, -1],
        [path + 4, -tau],
        [path + 5, -tau * tau],
      ],
      0,
      weight,
    );
  });
  // The whole strip may slide: hold the reference frame. Faint priors keep rates and path defined for short passes.
  const held = slot.get(problem.reference)!;
  add([[2 * held, 1]], 0, 1e6);
  add([[2 * held + 1, 1]], 0, 1e6);
  add([[2 * frames.length, 1]], 0, (span / (TURN_PRIOR * problem.reach)) ** 2);
  add([[2 * frames.length + 1, 1]], 0, (span / (STRETCH_PRIOR * problem.reach)) ** 2);
  for (let k = 0; k < 6; k++) add([[path + k, 1]], 0, 1e-10);
  const solution = new CholeskyDecomposition(a).solve(Matrix.columnVector(Array.from(b)));
  return Float64Array.from(solution.to1DArray());
}

/** Field rotation over a whole pass, 1 σ, radians: 0.3°, what a drift of half a degree gives at high declination. */
const TURN_PRIOR = 0.0052;
/** Change of refraction's flattening over a whole pass, 1 σ: what two minutes give at an altitude of about 12°. */
const STRETCH_PRIOR = 1e-3;

/** The patches of a pair as points of both frames about the centre in units of reach, with each frame's time. */
function observationsOf(problem: Problem, pair: FramePair) {
  const { centre, reach, reference } = problem;
  return pair.measure.shifts.map((s) => {
    const x = applyX(pair.measure.pose, s.x, s.y) + s.dx;
    const y = applyY(pair.measure.pose, s.x, s.y) + s.dy;
    return {
      fx: (x - centre.x) / reach,
      fy: (y - centre.y) / reach,
      mx: (s.x - centre.x) / reach,
      my: (s.y - centre.y) / reach,
      ti: pair.fixed - reference,
      tj: pair.moving - reference,
      noise: (s.cxx + s.cyy) / 2,
    };
  });
}

function reweigh(problem: Problem, unknowns: Float64Array, last: State): State {
  const residuals = problem.pairs.map((pair) => residualsOf(problem, pair, unknowns));
  const warpPx = Math.max(LEAST_WARP_PX, spread(residuals.flat()) / Math.SQRT2);
  const pairWeight = residuals.map((r) => cauchy(rms(r) / (2 * warpPx)));
  const off = problem.frames.map((frame, i) => offPath(problem, unknowns, frame, i));
  const tiltPx = Math.max(LEAST_TILT_PX, Math.min(last.tiltPx * 2, spread(off.flat())));
  const frameWeight = off.map(([x, y]) => cauchy(Math.hypot(x, y) / (Math.SQRT2 * tiltPx)));
  return { unknowns, warpPx, tiltPx, pairWeight, frameWeight };
}

function residualsOf(problem: Problem, pair: FramePair, unknowns: Float64Array): number[] {
  const i = problem.frames.indexOf(pair.fixed);
  const j = problem.frames.indexOf(pair.moving);
  const turn = unknowns[2 * problem.frames.length]!;
  const stretch = unknowns[2 * problem.frames.length + 1]!;
  return observationsOf(problem, pair).flatMap((o) => [
    unknowns[2 * i]! - unknowns[2 * j]! + turn * (-o.ti * o.fy + o.tj * o.my) - (o.mx - o.fx) * problem.reach,
    unknowns[2 * i + 1]! -
      unknowns[2 * j + 1]! +
      turn * (o.ti * o.fx - o.tj * o.mx) +
      stretch * (o.ti * o.fy - o.tj * o.my) -
      (o.my - o.fy) * problem.reach,
  ]);
}

function offPath(problem: Problem, unknowns: Float64Array, frame: number, i: number): [number, number] {
  const tau = (2 * (frame - problem.reference)) / Math.max(1, problem.frames.length - 1);
  const p = 2 * problem.frames.length + 2;
  return [
    unknowns[2 * i]! - (unknowns[p]! + tau * (unknowns[p + 1]! + tau * unknowns[p + 2]!)),
    unknowns[2 * i + 1]! - (unknowns[p + 3]! + tau * (unknowns[p + 4]! + tau * unknowns[p + 5]!)),
  ];
}

function describe(problem: Problem, state: State): SolvedPath {
  const { frames, reach, reference } = problem;
  const { unknowns } = state;
  const turn = unknowns[2 * frames.length]! / reach;
  const stretch = unknowns[2 * frames.length + 1]! / reach;
  const poses = new Map<number, Affine>();
  const offPathPx = new Map<number, number>();
  frames.forEach((frame, i) => {
    const shift = { shiftX: unknowns[2 * i]!, shiftY: unknowns[2 * i + 1]! };
    const rotationDeg = ((frame - reference) * turn * 180) / Math.PI;
    poses.set(frame, poseAbout(problem.centre, { ...shift, rotationDeg, squeeze: 1 + (frame - reference) * stretch }));
    offPathPx.set(frame, Math.hypot(...offPath(problem, unknowns, frame, i)));
  });
  return {
    poses,
    rotationDegPerFrame: (turn * 180) / Math.PI,
    squeezePerFrame: stretch,
    tiltPx: state.tiltPx,
    warpPx: state.warpPx,
    pairResidualPx: problem.pairs.map((pair) => rms(residualsOf(problem, pair, unknowns))),
    offPathPx,
  };
}

function cauchy(t: number): number {
  return 1 / (1 + (t / CAUCHY) ** 2);
}

function rms(values: readonly number[]): number {
  return values.length === 0 ? 0 : Math.sqrt(values.reduce((sum, v) => sum + v * v, 0) / values.length);
}

/** Robust standard deviation about zero: 1.4826 × the median of the absolute values. */
function spread(values: readonly number[]): number {
  if (values.length === 0) return 0;
  const sorted = values.map(Math.abs).sort((p, q) => p - q);
  return 1.4826 * sorted[Math.floor(sorted.length / 2)]!;
}
