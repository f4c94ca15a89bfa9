import type { GroundObservations } from './ground.js';
import { BASIS_TERMS, basisAt, RADIAL_TERMS, type SmoothPattern } from './pattern.js';

/** Light of every frame in one channel: recorded = pattern · (gain · ground + sky · (1 + slope · position)). */
export interface FrameLight {
  readonly gain: readonly number[];
  readonly sky: readonly number[];
  /** Relative slope of the sky over the sensor, x and y, one pair a pass. */
  readonly slopes: readonly (readonly [number, number])[];
}

/** Input of {@link solveLight}. */
export interface LightProblem {
  readonly ground: GroundObservations;
  /** Recorded light of each observation. */
  readonly value: Float32Array;
  /** Pass of each frame: passes have a sky slope of their own. */
  readonly passOf: readonly number[];
  /** Starting value of each frame's sky. */
  readonly skyStart: readonly number[];
  readonly pattern: SmoothPattern;
  /** Relative sky slopes by pass to start from. */
  readonly slopes: readonly (readonly [number, number])[];
  /** Whether pattern and slopes are solved for, or taken as given. */
  readonly solvePattern: boolean;
}

const CAUCHY = 2.385;
/** What the model itself cannot follow, relative. */
const MODEL_SPREAD = 0.004;
/** Noise floor of a block, linear light. */
export const FLOOR = 0.0004;
/** Below this share of a frame's brightest ground a cell counts as sky, whose ground light is 0 within this spread. */
const DARK_SHARE = 0.02;
const DARK_SPREAD = 0.0006;
/** Where the solve has got to. */
export interface State {
  readonly logGain: Float64Array;
  readonly sky: Float64Array;
  /** Slopes x, y of each pass. */
  readonly slope: Float64Array;
  readonly pattern: SmoothPattern;
  /** 1 for cells taken for sky. */
  readonly dark: Uint8Array;
  /** Factor on the expected spread of the observations, so that a capture that the model fits badly is not trusted. */
  readonly looseness: number;
  /** Which frames share lit ground: a number for each frame; see {@link groupsOf}. */
  readonly groupOf: readonly number[];
}

/** Cells that every frame recorded within a few hundredths of its range above its darkest part. */
export function darkAtStart(problem: LightProblem): Uint8Array {
  const { ground, value, skyStart } = problem;
  const range = rangeOf(problem, skyStart);
  const dark = new Uint8Array(ground.cellCount);
  for (let c = 0; c < dark.length; c++) {
    let all = true;
    for (let i = ground.cellStart[c]!; i < ground.cellStart[c + 1]!; i++) {
      const f = ground.frame[i]!;
      all &&= value[i]! < skyStart[f]! + 1.5 * DARK_SHARE * range[f]!;
    }
    dark[c] = all ? 1 : 0;
  }
  return dark;
}

/**
 * Which frames share lit ground, directly or through others. Between groups nothing ties the gains: each keeps its own
 * mean, so that what was recorded brighter stays brighter.
 */
export function groupsOf(problem: LightProblem, dark: Uint8Array): number[] {
  const { ground, passOf } = problem;
  const root = passOf.map((_, f) => f);
  const find = (f: number): number => (root[f] === f ? f : find(root[f]!));
  for (let c = 0; c < ground.cellCount; c++) {
    if (dark[c] === 1) continue;
    for (let i = ground.cellStart[c]! + 1; i < ground.cellStart[c + 1]!; i++) {
      root[find(ground.frame[i]!)] = find(ground.frame[i - 1]!);
    }
  }
  return root.map((_, f) => find(f));
}

/** One observation under the present light. */
export interface Seen {
  readonly pattern: number;
  readonly gain: number;
  /** Factor on the frame's sky at this place of the sensor. */
  readonly skyShape: number;
  readonly model: number;
  readonly residual: number;
  readonly weight: number;
}

/** Best ground value of a cell under the present light, and what that leaves of each observation. */
export function lookAtCell(
  problem: LightProblem,
  state: State,
  c: number,
): { ground: number; prior: number; seen: Seen[] } {
  const { ground, value } = problem;
  const first = ground.cellStart[c]!;
  const last = ground.cellStart[c + 1]!;
  const prior = state.dark[c] === 1 ? 1 / DARK_SPREAD ** 2 : 0;
  let top = 0;
  let bottom = prior;
  const seen: Seen[] = [];
  for (let i = first; i < last; i++) {
    const f = ground.frame[i]!;
    const pattern = patternOf(state.pattern, ground.sensorX[i]!, ground.sensorY[i]!);
    const gain = Math.exp(state.logGain[f]!);
    const sigma = state.looseness * sigmaOf(ground, value, i);
    const own = pattern * gain;
    const weight = 1 / (sigma * sigma);
    const p = 2 * problem.passOf[f]!;
    const skyShape = 1 + state.slope[p]! * ground.sensorX[i]! + state.slope[p + 1]! * ground.sensorY[i]!;
    top += weight * own * (value[i]! - pattern * state.sky[f]! * skyShape);
    bottom += weight * own * own;
    seen.push({ pattern, gain, skyShape, model: 0, residual: 0, weight });
  }
  const level = bottom > 0 ? top / bottom : 0;
  for (let i = first, k = 0; i < last; i++, k++) {
    const s = seen[k]!;
    const model = s.pattern * (s.gain * level + state.sky[ground.frame[i]!]! * s.skyShape);
    const residual = value[i]! - model;
    const t = residual / (CAUCHY * state.looseness * sigmaOf(ground, value, i));
    seen[k] = { ...s, model, residual, weight: s.weight / (1 + t * t) };
  }
  return { ground: level, prior, seen };
}

/** Spread to expect of an observation, linear light. */
export function sigmaOf(ground: GroundObservations, value: Float32Array, i: number): number {
  return Math.hypot(value[i]! * (MODEL_SPREAD + ground.roughness[i]!), FLOOR);
}

const scratchIndex = new Uint16Array(BASIS_TERMS);
const scratchValue = new Float64Array(BASIS_TERMS);

function patternOf(pattern: SmoothPattern, x: number, y: number): number {
  basisAt(pattern, x, y, scratchIndex, scratchValue);
  let log = 0;
  for (let k = 0; k < BASIS_TERMS; k++) {
    const i = scratchIndex[k]!;
    log += scratchValue[k]! * (i < RADIAL_TERMS ? pattern.radial[i]! : pattern.nodes[i - RADIAL_TERMS]!);
  }
  return Math.exp(log);
}

/**
 * Cells whose ground has come out as dark as sky, in every frame's own measure: frames that share no ground with others
 * may have any gain.
 */
export function darkNow(problem: LightProblem, state: State): Uint8Array {
  const { ground } = problem;
  const range = rangeOf(problem, state.sky);
  return Uint8Array.from({ length: ground.cellCount }, (_, c) => {
    const level = lookAtCell(problem, state, c).ground;
    for (let i = ground.cellStart[c]!; i < ground.cellStart[c + 1]!; i++) {
      const f = ground.frame[i]!;
      if (Math.exp(state.logGain[f]!) * level > DARK_SHARE * range[f]!) return 0;
    }
    return 1;
  });
}

/** How far the brightest ground of each frame stands above its sky. */
function rangeOf({ ground, value }: LightProblem, sky: ArrayLike<number>): Float64Array {
  const range = new Float64Array(sky.length);
  for (let i = 0; i < value.length; i++) {
    const f = ground.frame[i]!;
    range[f] = Math.max(range[f]!, value[i]! - sky[f]!);
  }
  return range;
}
