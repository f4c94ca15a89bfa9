import type { GroundObservations } from './ground.js';
import { BASIS_TERMS, basisAt, type SmoothPattern } from './pattern.js';

/** Light of every frame in one channel: recorded = pattern · (gain · ground + sky · (1 + slope · position)). */
export interface FrameLight {
  readonly gain: readonly number[];
  readonly sky: readonly number[];
  /** Relative slope of the sky over the sensor, x and y, one pair a pass. */
  readonly slopes: readonly (readonly [number, number])[];
}

/** Input of {@link solveLight}. */
export interface LightProblem {
  readonly ground: Omit<GroundObservations, 'value'>;
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

/** A problem with what does not change from step to step worked out once. */
export interface PreparedLight extends LightProblem {
  /** Spread to expect of each observation, linear light. */
  readonly sigma: Float64Array;
  /** Indices and values of the pattern's basis functions at each observation, {@link BASIS_TERMS} each. */
  readonly basisIndex: Uint16Array;
  readonly basisValue: Float64Array;
}

/** Works out the basis functions and the expected spread of every observation. */
export function prepareLight(problem: LightProblem): PreparedLight {
  const { ground, value, pattern } = problem;
  const sigma = new Float64Array(value.length);
  const basisIndex = new Uint16Array(BASIS_TERMS * value.length);
  const basisValue = new Float64Array(BASIS_TERMS * value.length);
  for (let i = 0; i < value.length; i++) {
    const at = BASIS_TERMS * i;
    const end = at + BASIS_TERMS;
    basisAt(
      pattern,
      ground.sensorX[i]!,
      ground.sensorY[i]!,
      basisIndex.subarray(at, end),
      basisValue.subarray(at, end),
    );
    const spread = value[i]! * (MODEL_SPREAD + ground.roughness[i]!);
    sigma[i] = Math.sqrt(spread * spread + FLOOR * FLOOR);
  }
  return { ...problem, sigma, basisIndex, basisValue };
}

/** Everything under the present light: by cell, by observation, by frame. */
export interface Look {
  /** Best ground value of each cell, and the weight of what is known of it beforehand. */
  readonly ground: Float64Array;
  readonly prior: Float64Array;
  /** Of each observation: the sensor's factor, the factor on the frame's sky, what the model says and what it leaves. */
  readonly pattern: Float64Array;
  readonly skyShape: Float64Array;
  readonly model: Float64Array;
  readonly residual: Float64Array;
  readonly weight: Float64Array;
  /** Of each frame. */
  readonly gain: Float64Array;
}

/** Best ground value of every cell under the present light, and what that leaves of each observation. */
export function lookAt(problem: PreparedLight, state: State): Look {
  const { ground, value, sigma, passOf } = problem;
  const pattern = patternsOf(problem, state.pattern);
  const gain = state.logGain.map(Math.exp);
  const [skyShape, model, residual, weight] = [0, 0, 0, 0].map(() => new Float64Array(value.length)) as [
    Float64Array,
    Float64Array,
    Float64Array,
    Float64Array,
  ];
  const level = new Float64Array(ground.cellCount);
  const prior = Float64Array.from(state.dark, (dark) => (dark === 1 ? 1 / DARK_SPREAD ** 2 : 0));
  for (let c = 0; c < ground.cellCount; c++) {
    const first = ground.cellStart[c]!;
    const last = ground.cellStart[c + 1]!;
    let top = 0;
    let bottom = prior[c]!;
    for (let i = first; i < last; i++) {
      const f = ground.frame[i]!;
      const own = pattern[i]! * gain[f]!;
      const p = 2 * passOf[f]!;
      skyShape[i] = 1 + state.slope[p]! * ground.sensorX[i]! + state.slope[p + 1]! * ground.sensorY[i]!;
      weight[i] = 1 / (state.looseness * sigma[i]!) ** 2;
      top += weight[i]! * own * (value[i]! - pattern[i]! * state.sky[f]! * skyShape[i]!);
      bottom += weight[i]! * own * own;
    }
    const light = bottom > 0 ? top / bottom : 0;
    level[c] = light;
    for (let i = first; i < last; i++) {
      const f = ground.frame[i]!;
      model[i] = pattern[i]! * (gain[f]! * light + state.sky[f]! * skyShape[i]!);
      residual[i] = value[i]! - model[i]!;
      const t = residual[i]! / (CAUCHY * state.looseness * sigma[i]!);
      weight[i]! /= 1 + t * t;
    }
  }
  return { ground: level, prior, pattern, skyShape, model, residual, weight, gain };
}

function patternsOf({ basisIndex, basisValue, value }: PreparedLight, pattern: SmoothPattern): Float64Array {
  const coefficients = Float64Array.from([...pattern.radial, ...pattern.nodes]);
  const factors = new Float64Array(value.length);
  for (let i = 0, at = 0; i < factors.length; i++) {
    let log = 0;
    for (let k = 0; k < BASIS_TERMS; k++, at++) log += basisValue[at]! * coefficients[basisIndex[at]!]!;
    factors[i] = Math.exp(log);
  }
  return factors;
}

/**
 * Cells whose ground has come out as dark as sky, in every frame's own measure: frames that share no ground with others
 * may have any gain.
 */
export function darkNow(problem: LightProblem, state: State, look: Look): Uint8Array {
  const { ground } = problem;
  const range = rangeOf(problem, state.sky);
  return Uint8Array.from({ length: ground.cellCount }, (_, c) => {
    const level = look.ground[c]!;
    for (let i = ground.cellStart[c]!; i < ground.cellStart[c + 1]!; i++) {
      const f = ground.frame[i]!;
      if (look.gain[f]! * level > DARK_SHARE * range[f]!) return 0;
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
