import { CholeskyDecomposition, Matrix } from 'ml-matrix';
import { type Affine, poseAbout } from '../compute/affine.js';
import {
  driftWidths,
  type Equation,
  equationsOf,
  type FramePair,
  layOut,
  observationsOf,
  type PathBlock,
  type PathInput,
  pathEquations,
  residualOf,
  STRETCH,
  TURN,
} from './path-model.js';

export type { FramePair, PathInput };

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
 * One linear least-squares solve for all passes of a capture. Unknown: a shift for every frame; for every pass a path
 * quadratic in the frame number, which the shifts scatter about (the air's tilt), so that errors do not add up along
 * the chain; and, since the same sky carries all passes, one rate of field rotation and one of vertical stretch, per
 * drift. The observations are the patch shifts of every measured pair. The spreads of warps and tilt are estimated in
 * turn with the solution; pairs and frames that do not fit lose their weight (Cauchy). The reference frame of each
 * pass, in the middle, is neither turned nor moved.
 */
export function solvePaths(passes: readonly PathInput[]): SolvedPath[] {
  const { blocks, size } = layOut(passes);
  let states = blocks.map(startState);
  let unknowns = new Float64Array(size);
  for (let round = 0; round < ROUNDS; round++) {
    unknowns = solveOnce(blocks, states, size);
    states = blocks.map((block, k) => reweigh(block, unknowns, states[k]!));
  }
  return blocks.map((block, k) => describe(block, unknowns, states[k]!));
}

/** {@link solvePaths} for a single pass. */
export function solvePath(
  pairs: readonly FramePair[],
  frames: readonly number[],
  widthPx: number,
  heightPx: number,
): SolvedPath {
  return solvePaths([{ pairs, frames, widthPx, heightPx }])[0]!;
}

const ROUNDS = 8;
/**
 * Patches of one pair share the air's large warps, and the pairs of one frame share that frame's: a pair counts as no
 * more than this many independent patches.
 */
const INDEPENDENT_PATCHES = 4;
const CAUCHY = 2.385;
const LEAST_TILT_PX = 0.02;
const LEAST_WARP_PX = 0.01;
/** Field rotation over a drift of half a degree, 1 σ over the Moon's declinations, radians: 0.15°. */
const TURN_PRIOR = 0.0026;
/** Change of refraction's flattening over such a drift, 1 σ, down to an altitude of about 10°. */
const STRETCH_PRIOR = 5e-4;

interface State {
  readonly warpPx: number;
  readonly tiltPx: number;
  readonly pairWeight: readonly number[];
  readonly frameWeight: readonly number[];
}

function startState(block: PathBlock): State {
  return { warpPx: 0.5, tiltPx: 5, pairWeight: block.pairs.map(() => 1), frameWeight: block.frames.map(() => 1) };
}

function solveOnce(blocks: readonly PathBlock[], states: readonly State[], size: number): Float64Array<ArrayBuffer> {
  const a = new Matrix(size, size);
  const b = new Float64Array(size);
  const add = ({ at, of, value }: Equation, weight: number): void => {
    for (let k = 0; k < at.length; k++) {
      const p = at[k]!;
      b[p]! += weight * of[k]! * value;
      for (let l = 0; l < at.length; l++) a.set(p, at[l]!, a.get(p, at[l]!) + weight * (of[k]! * of[l]!));
    }
  };
  const hold = (at: number, weight: number): void => add({ at: [at], of: [1], value: 0 }, weight);
  blocks.forEach((block, k) => {
    const state = states[k]!;
    block.pairs.forEach((pair, n) => {
      const share = state.pairWeight[n]! * Math.min(1, INDEPENDENT_PATCHES / pair.measure.shifts.length);
      for (const o of observationsOf(block, pair)) {
        const weight = share / (o.noise + 2 * state.warpPx ** 2);
        for (const equation of equationsOf(block, pair, o)) add(equation, weight);
      }
    });
    block.frames.forEach((frame, i) => {
      for (const equation of pathEquations(block, frame)) add(equation, state.frameWeight[i]! / state.tiltPx ** 2);
    });
    // The whole strip may slide: hold the reference frame. A faint prior keeps the path defined for short passes.
    const held = block.slot.get(block.reference)!;
    hold(held, 1e6);
    hold(held + 1, 1e6);
    for (let term = 0; term < 6; term++) hold(block.pathAt + term, 1e-10);
  });
  // A pass is a drift of about half a degree: the longest one gives the unit of the rates' priors.
  const longest = blocks.reduce((most, block) => (block.driftPx > most.driftPx ? block : most));
  const widths = Math.max(1e-6, longest.driftPx / (2 * longest.reach));
  hold(TURN, (widths / (TURN_PRIOR * longest.reach)) ** 2);
  hold(STRETCH, (widths / (STRETCH_PRIOR * longest.reach)) ** 2);
  return Float64Array.from(new CholeskyDecomposition(a).solve(Matrix.columnVector(Array.from(b))).to1DArray());
}

function reweigh(block: PathBlock, unknowns: Float64Array, last: State): State {
  const residuals = block.pairs.map((pair) => pairResiduals(block, pair, unknowns));
  const warpPx = Math.max(LEAST_WARP_PX, spread(residuals.flat()) / Math.SQRT2);
  const off = block.frames.map((frame) => pathEquations(block, frame).map((e) => residualOf(e, unknowns)));
  const tiltPx = Math.max(LEAST_TILT_PX, Math.min(last.tiltPx * 2, spread(off.flat())));
  return {
    warpPx,
    tiltPx,
    pairWeight: residuals.map((r) => cauchy(rms(r) / (2 * warpPx))),
    frameWeight: off.map((o) => cauchy(Math.hypot(...o) / (Math.SQRT2 * tiltPx))),
  };
}

function pairResiduals(block: PathBlock, pair: FramePair, unknowns: Float64Array): number[] {
  return observationsOf(block, pair).flatMap((o) =>
    equationsOf(block, pair, o).map((equation) => residualOf(equation, unknowns)),
  );
}

function describe(block: PathBlock, unknowns: Float64Array, state: State): SolvedPath {
  const turn = unknowns[TURN]! / block.reach;
  const stretch = unknowns[STRETCH]! / block.reach;
  const poses = new Map<number, Affine>();
  const offPathPx = new Map<number, number>();
  for (const frame of block.frames) {
    const at = block.slot.get(frame)!;
    const drift = driftWidths(block, frame);
    poses.set(
      frame,
      poseAbout(block.centre, {
        shiftX: unknowns[at]!,
        shiftY: unknowns[at + 1]!,
        rotationDeg: (drift * turn * 180) / Math.PI,
        squeeze: 1 + drift * stretch,
      }),
    );
    offPathPx.set(frame, Math.hypot(...pathEquations(block, frame).map((e) => residualOf(e, unknowns))));
  }
  const perFrame = block.driftPx / (2 * block.reach) / block.span;
  return {
    poses,
    rotationDegPerFrame: (perFrame * turn * 180) / Math.PI,
    squeezePerFrame: perFrame * stretch,
    tiltPx: state.tiltPx,
    warpPx: state.warpPx,
    pairResidualPx: block.pairs.map((pair) => rms(pairResiduals(block, pair, unknowns))),
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
