import { type Affine, compose, invert, onCoarserGrid, onFinerGrid, translation } from '../compute/affine.js';
import type { KernelScope } from '../compute/kernels.js';
import { holdBlurred } from '../compute/kernels-filter.js';
import { blockSums } from '../compute/kernels-pair-sums.js';
import type { TapTable } from '../compute/kernels-taps.js';
import { eroded, type HeldLevel, type PairPyramid } from './pair-levels.js';
import type { PairLevel } from './pair-normal.js';
import { overlapCentre, overlapOf } from './pair-overlap.js';
import { type PairPose, poseMap, posePartsOf, stepPose } from './pair-pose.js';
import { type PairStep, solvePair } from './pair-solve.js';
import { TAP_STEPS, tapTable } from './pair-taps.js';
import type { PairFreedom } from './pair-types.js';

/** Outcome of {@link refinePair}: the pose at full resolution, and the step that led to it. */
export interface PairRefined {
  readonly pose: PairPose;
  readonly gain: number;
  readonly offset: number;
  readonly step: PairStep;
  /** The first step on pictures that were not blurred: what they say of noise and bound. */
  readonly plain: PairStep;
}

/** The state that runs through the levels. */
interface State {
  map: Affine;
  gain: number;
  offset: number;
}

/**
 * Iterative least squares (Gauss–Newton, both pictures alike) of pose, gain and offset from the coarsest level down to
 * full resolution. Undefined when the overlap runs empty or does not fix the parameters.
 */
export function refinePair(
  scope: KernelScope,
  fixed: PairPyramid,
  moving: PairPyramid,
  initial: Affine,
  freedom: PairFreedom,
): PairRefined | undefined {
  const top = fixed.levels.length - 1;
  const light = lightBetween(fixed.coarsest, moving.coarsest, onCoarserGrid(initial, 2 ** top));
  const state: State = { map: initial, ...light };
  for (let k = top; k >= 0; k--) {
    const refined = refineLevel(scope, fixed, moving, k, state, freedom, k === top);
    if (!refined) return undefined;
    if (k === 0) return refined;
  }
  return undefined;
}

/** Gain and offset that give the moving picture the mean and the contrast of the fixed one, nearest pixels compared. */
function lightBetween(fixed: PairLevel, moving: PairLevel, map: Affine): { gain: number; offset: number } {
  const back = invert(map);
  let n = 0;
  let a = 0;
  let b = 0;
  let aa = 0;
  let bb = 0;
  for (let y = 0; y < fixed.height; y++) {
    for (let x = 0; x < fixed.width; x++) {
      const mx = Math.round(back.xx * x + back.xy * y + back.tx);
      const my = Math.round(back.yx * x + back.yy * y + back.ty);
      if (mx < 0 || my < 0 || mx >= moving.width || my >= moving.height) continue;
      const i = y * fixed.width + x;
      const k = my * moving.width + mx;
      if (fixed.variance?.[i] === Infinity || moving.variance?.[k] === Infinity) continue;
      const p = fixed.data[i]!;
      const q = moving.data[k]!;
      n++;
      a += p;
      b += q;
      aa += p * p;
      bb += q * q;
    }
  }
  const gain = Math.sqrt((aa - (a * a) / n) / (bb - (b * b) / n));
  return gain > 0 && gain < Infinity ? { gain, offset: (a - gain * b) / n } : { gain: 1, offset: 0 };
}

function refineLevel(
  scope: KernelScope,
  fixedPyramid: PairPyramid,
  movingPyramid: PairPyramid,
  k: number,
  state: State,
  freedom: PairFreedom,
  isTop: boolean,
): PairRefined | undefined {
  const factor = 2 ** k;
  const { level: band, top } =
    k > 0
      ? bandOf(fixedPyramid.levels[k]!, movingPyramid.levels[k]!, onCoarserGrid(state.map, factor))
      : { level: fixedPyramid.levels[0]!, top: 0 };
  let fixed = eroded(band, STENCIL_PX);
  const taps: TapTable = { weights: tapTable(), steps: TAP_STEPS };
  let moving = eroded(movingPyramid.levels[k]!, STENCIL_PX + TAPS_PX);
  const map = compose(translation(0, -top), onCoarserGrid(state.map, factor));
  const middle = overlapCentre(fixed, moving, map);
  if (!middle) return undefined;
  let sidePx = blockSide(fixed.width * fixed.height);
  const reach = Math.hypot(fixed.width, fixed.height) / 3;
  let pose = posePartsOf(map, freedom, middle.mx, middle.my);
  let relaxation = 1;
  let before: Float64Array | undefined;
  let plain: PairStep | undefined;
  let last: PairStep | undefined;
  for (let iteration = 0; iteration < (isTop ? 10 : 6); iteration++) {
    const inverse = invert(poseMap(pose));
    const blocks = blockSums(fixed, moving, inverse, state.gain, state.offset, sidePx, taps);
    const squeeze = Math.exp(pose.logSqueeze);
    const step = solvePair(blocks, freedom, pose.mx + pose.shiftX, pose.my + pose.shiftY, squeeze, k === 0);
    if (!step) return undefined;
    last = step;
    if (turnsBack(step.delta, before, reach)) relaxation *= 0.5;
    before = step.delta;
    pose = stepPose(
      pose,
      limited(step.delta, reach).map((v) => relaxation * v),
    );
    if (step.gainFactor > 0.2 && step.gainFactor < 5) {
      state.gain *= step.gainFactor;
      state.offset = state.offset * step.gainFactor + step.offsetStep;
    }
    const movedPx = stepSize(step.delta, reach);
    if (k === 0 && !plain && movedPx < MAX_STEP_PX) {
      plain = step;
      const sigmaPx = blurFor(step);
      if (sigmaPx > 0) {
        fixed = blurred(scope, fixed, sigmaPx);
        moving = blurred(scope, moving, sigmaPx);
        sidePx = Math.max(sidePx, BLURRED_BLOCK_PX);
        continue;
      }
    }
    // A further step would move by about a hundredth of this one, by a tenth where noise hides the gradients.
    const sigmaPx = Math.sqrt(Math.max(0, step.covariance[0]!));
    const enough = k > 0 ? 0.05 : Math.max(1e-5, Math.min(ENOUGH_PX, ENOUGH_SIGMAS * sigmaPx));
    if (movedPx < enough) break;
  }
  state.map = onFinerGrid(compose(translation(0, top), poseMap(pose)), factor);
  if (!last) return undefined;
  return { pose, gain: state.gain, offset: state.offset, step: last, plain: plain ?? last };
}

/**
 * The middle rows of the overlap, which are enough to start the next level from when there are many; all rows otherwise.
 * Rows that lie in the memory of the kernels are cut without a copy.
 */
function bandOf(fixed: HeldLevel, moving: HeldLevel, map: Affine): { level: HeldLevel; top: number } {
  const whole = { level: fixed, top: 0 };
  const overlap = overlapOf(fixed, moving, map);
  if (!overlap || fixed.data instanceof Float32Array) return whole;
  const height = BAND_PX;
  if (overlap.y1 - overlap.y0 < 2 * height || overlap.x1 - overlap.x0 < 2 * height) return whole;
  const top = Math.round((overlap.y0 + overlap.y1 - height) / 2);
  const data = { address: fixed.data.address + 4 * top * fixed.width, length: height * fixed.width };
  return { level: { width: fixed.width, height, data }, top };
}

const BAND_PX = 160;
const STENCIL_PX = 2;
const TAPS_PX = 4;

/** Blocks whose scatter tells the covariance: as many as there may be, longer where a blur has given the noise a reach. */
function blockSide(areaPx: number): number {
  if (areaPx > 768 * 768) return 64;
  if (areaPx > 384 * 384) return 32;
  return areaPx > 96 * 96 ? 16 : 8;
}

const BLURRED_BLOCK_PX = 24;

/**
 * Gaussian σ, px, that both pictures are blurred by before the last steps, about the root of the Wiener filter that suits
 * the noise: where gradients are mostly noise, what counts is the product of the noise of one picture with that of the
 * other, which no symmetry takes away. Measured: 1.05 instead of 1.7 times the bound at a contrast of 3 σ.
 */
function blurFor(step: PairStep): number {
  if (step.noiseShare < 0.06) return 0;
  return step.noiseShare < 0.4 ? 0.5 : step.noiseShare < 3 ? 0.7 : 1;
}

function blurred(scope: KernelScope, level: HeldLevel, sigmaPx: number): HeldLevel {
  const { data } = holdBlurred(scope, level, sigmaPx);
  return eroded({ ...level, data }, Math.ceil(3 * sigmaPx));
}

function stepSize(delta: Float64Array, reach: number): number {
  const turned = Math.hypot(delta[2] ?? 0, delta[3] ?? 0, delta[4] ?? 0) * reach;
  return Math.hypot(delta[0]!, delta[1]!, turned);
}

/**
 * Whether a step takes back much of the one before: far from the solution the gradients of both pictures are little
 * alike, their products too small, and the steps too long.
 */
function turnsBack(delta: Float64Array, before: Float64Array | undefined, reach: number): boolean {
  if (!before) return false;
  let product = 0;
  for (let k = 0; k < delta.length; k++) product += delta[k]! * before[k]! * (k < 2 ? 1 : reach * reach);
  return -product > 0.25 * stepSize(before, reach) ** 2;
}

/** A step of at most two pixels. */
function limited(delta: Float64Array, reach: number): Float64Array {
  const size = stepSize(delta, reach);
  return size > MAX_STEP_PX ? delta.map((v) => (v * MAX_STEP_PX) / size) : delta;
}

const MAX_STEP_PX = 2;
const ENOUGH_SIGMAS = 20;
const ENOUGH_PX = 0.01;
