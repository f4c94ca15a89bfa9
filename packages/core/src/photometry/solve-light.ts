import { CholeskyDecomposition, Matrix } from 'ml-matrix';
import type { GroundObservations } from './ground.js';
import { BASIS_TERMS, basisAt, PATTERN_SIZE, RADIAL_TERMS, type SmoothPattern, withCoefficients } from './pattern.js';

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

/** Result of {@link solveLight}. */
export interface SolvedLight extends FrameLight {
  readonly pattern: SmoothPattern;
  /** Robust spread of the relative residuals. */
  readonly residual: number;
}

/**
 * Separates what belongs to the ground, to each frame's light and to the sensor: since the ground moves over the
 * sensor while the sensor stays, recorded = pattern(sensor) · (gain · ground + sky) can be solved without calibration
 * frames. Gauss–Newton with the ground eliminated cell by cell (Schur complement), Cauchy weights. What the motion
 * cannot tell apart is settled so: the mean of log gain is 0; ground as dark as the sky is taken for sky, whose light
 * is all in the frames' sky term; where no sky is seen the mean sky stays near the start; a tilt of the pattern cannot
 * be told from a tilt of the ground, so a faint prior keeps the nodes at 0.
 */
export function solveLight(problem: LightProblem): SolvedLight {
  let state: State = {
    logGain: new Float64Array(problem.passOf.length),
    sky: Float64Array.from(problem.skyStart),
    slope: Float64Array.from(problem.slopes.flat()),
    pattern: problem.pattern,
    dark: darkAtStart(problem),
    looseness: 1,
  };
  state = { ...state, logGain: startGains(problem, state) };
  for (let iteration = 0; iteration < ITERATIONS; iteration++) state = improve(problem, state);
  return {
    gain: Array.from(state.logGain, Math.exp),
    sky: Array.from(state.sky),
    slopes: problem.slopes.map((_, p) => [state.slope[2 * p]!, state.slope[2 * p + 1]!] as const),
    pattern: state.pattern,
    residual: residualSpread(problem, state),
  };
}

const ITERATIONS = 12;
const CAUCHY = 2.385;
/** What the model itself cannot follow, relative. */
const MODEL_SPREAD = 0.004;
/** Noise floor of a block, linear light. */
const FLOOR = 0.0004;
/** Below this share of the bright ground a cell counts as sky, whose ground light is 0 within this spread. */
const DARK_SHARE = 0.02;
const DARK_SPREAD = 0.0006;
const SLOPE_PRIOR = 0.3;
const RADIAL_PRIOR = 0.25;
const NODE_PRIOR = 0.006;

interface State {
  readonly logGain: Float64Array;
  readonly sky: Float64Array;
  /** Slopes x, y of each pass. */
  readonly slope: Float64Array;
  readonly pattern: SmoothPattern;
  /** 1 for cells taken for sky. */
  readonly dark: Uint8Array;
  /** Factor on the expected spread of the observations, so that a capture that the model fits badly is not trusted. */
  readonly looseness: number;
}

/** Cells that every frame recorded within a few hundredths of its range above its darkest part. */
function darkAtStart(problem: LightProblem): Uint8Array {
  const { ground, value, skyStart } = problem;
  const brightest = new Float64Array(skyStart.length);
  for (let i = 0; i < value.length; i++)
    brightest[ground.frame[i]!] = Math.max(brightest[ground.frame[i]!]!, value[i]!);
  const dark = new Uint8Array(ground.cellCount);
  for (let c = 0; c < dark.length; c++) {
    let all = true;
    for (let i = ground.cellStart[c]!; i < ground.cellStart[c + 1]!; i++) {
      const f = ground.frame[i]!;
      all &&= value[i]! < skyStart[f]! + 1.5 * DARK_SHARE * (brightest[f]! - skyStart[f]!);
    }
    dark[c] = all ? 1 : 0;
  }
  return dark;
}

/** Ratio of each frame's light above its sky to the frames before it on shared ground, chained by least squares. */
function startGains(problem: LightProblem, state: State): Float64Array {
  const { ground, value } = problem;
  const frameCount = problem.passOf.length;
  const a = Matrix.eye(frameCount).mul(1e-3);
  const b = new Float64Array(frameCount);
  for (let c = 0; c < ground.cellCount; c++) {
    for (let i = ground.cellStart[c]!; i + 1 < ground.cellStart[c + 1]!; i++) {
      const f = ground.frame[i]!;
      const g = ground.frame[i + 1]!;
      const p = value[i]! - state.sky[f]!;
      const q = value[i + 1]! - state.sky[g]!;
      if (p < 0.02 || q < 0.02) continue;
      const ratio = Math.log(q / p);
      a.set(f, f, a.get(f, f) + 1);
      a.set(g, g, a.get(g, g) + 1);
      a.set(f, g, a.get(f, g) - 1);
      a.set(g, f, a.get(g, f) - 1);
      b[f]! -= ratio;
      b[g]! += ratio;
    }
  }
  return Float64Array.from(new CholeskyDecomposition(a).solve(Matrix.columnVector(Array.from(b))).to1DArray());
}

function improve(problem: LightProblem, state: State): State {
  const { solvePattern } = problem;
  const frameCount = problem.passOf.length;
  const patternAt = 2 * frameCount + 2 * problem.slopes.length;
  const n = solvePattern ? patternAt + PATTERN_SIZE : 2 * frameCount;
  const normal = new Float64Array(n * n);
  const right = new Float64Array(n);
  gather(problem, state, normal, right, n);
  addPriors(problem, state, normal, right, n);
  const a = new Matrix(n, n);
  for (let i = 0; i < n; i++) {
    for (let j = 0; j <= i; j++) {
      a.set(i, j, normal[i * n + j]!);
      a.set(j, i, normal[i * n + j]!);
    }
  }
  const step = new CholeskyDecomposition(a).solve(Matrix.columnVector(Array.from(right))).to1DArray();
  const logGain = state.logGain.map((v, f) => v + Math.max(-0.5, Math.min(0.5, step[f]!)));
  const sky = state.sky.map((v, f) => v + step[frameCount + f]!);
  const settled = { dark: darkNow(problem, state), looseness: loosenessOf(problem, state) };
  if (!solvePattern) return { ...state, ...settled, logGain, sky };
  const slope = state.slope.map((v, k) => v + step[2 * frameCount + k]!);
  const old = [...state.pattern.radial, ...state.pattern.nodes];
  const pattern = withCoefficients(
    state.pattern,
    old.map((v, k) => v + step[patternAt + k]!),
  );
  return { ...settled, logGain, sky, slope, pattern };
}

/** Accumulates the normal equations, lower half, with each cell's ground eliminated. */
function gather(problem: LightProblem, state: State, normal: Float64Array, right: Float64Array, n: number): void {
  const { ground, solvePattern, passOf } = problem;
  const frameCount = passOf.length;
  const patternAt = 2 * frameCount + 2 * problem.slopes.length;
  const columns: number[] = [];
  const shared = new Float64Array(n);
  const marked = new Uint8Array(n);
  const index = new Uint16Array(BASIS_TERMS);
  const basis = new Float64Array(BASIS_TERMS);
  const row = new Float64Array(BASIS_TERMS + 4);
  const slot = new Uint32Array(BASIS_TERMS + 4);
  const terms = solvePattern ? BASIS_TERMS + 4 : 2;
  for (let c = 0; c < ground.cellCount; c++) {
    if (ground.cellStart[c + 1]! - ground.cellStart[c]! < 2 && state.dark[c] === 0) continue;
    const cell = lookAtCell(problem, state, c);
    let weightSum = cell.prior;
    let residualSum = -cell.prior * cell.ground;
    columns.length = 0;
    for (let i = ground.cellStart[c]!, k = 0; i < ground.cellStart[c + 1]!; i++, k++) {
      const { pattern, gain, weight, model, residual } = cell.seen[k]!;
      const f = ground.frame[i]!;
      slot[0] = f;
      row[0] = pattern * gain * cell.ground;
      slot[1] = frameCount + f;
      row[1] = pattern * cell.seen[k]!.skyShape;
      if (solvePattern) {
        basisAt(state.pattern, ground.sensorX[i]!, ground.sensorY[i]!, index, basis);
        for (let t = 0; t < BASIS_TERMS; t++) {
          slot[t + 4] = patternAt + index[t]!;
          row[t + 4] = model * basis[t]!;
        }
        slot[2] = 2 * frameCount + 2 * passOf[f]!;
        slot[3] = slot[2] + 1;
        row[2] = pattern * state.sky[f]! * ground.sensorX[i]!;
        row[3] = pattern * state.sky[f]! * ground.sensorY[i]!;
      }
      const own = pattern * gain;
      weightSum += weight * own * own;
      residualSum += weight * own * residual;
      for (let p = 0; p < terms; p++) {
        const sp = slot[p]!;
        if (marked[sp] === 0) columns.push(sp);
        marked[sp] = 1;
        shared[sp]! += weight * own * row[p]!;
        right[sp]! += weight * row[p]! * residual;
        for (let q = 0; q < terms; q++) {
          if (slot[q]! <= sp) normal[sp * n + slot[q]!]! += weight * row[p]! * row[q]!;
        }
      }
    }
    for (const p of columns) {
      right[p]! -= (shared[p]! * residualSum) / weightSum;
      for (const q of columns) {
        if (q <= p) normal[p * n + q]! -= (shared[p]! * shared[q]!) / weightSum;
      }
    }
    for (const p of columns) {
      shared[p] = 0;
      marked[p] = 0;
    }
  }
}

interface Seen {
  readonly pattern: number;
  readonly gain: number;
  /** Factor on the frame's sky at this place of the sensor. */
  readonly skyShape: number;
  readonly model: number;
  readonly residual: number;
  readonly weight: number;
}

/** Best ground value of a cell under the present light, and what that leaves of each observation. */
function lookAtCell(problem: LightProblem, state: State, c: number): { ground: number; prior: number; seen: Seen[] } {
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

function sigmaOf(ground: GroundObservations, value: Float32Array, i: number): number {
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

function addPriors(problem: LightProblem, state: State, normal: Float64Array, right: Float64Array, n: number): void {
  const { skyStart } = problem;
  const frameCount = skyStart.length;
  const patternAt = 2 * frameCount + 2 * problem.slopes.length;
  const prior = (i: number, value: number, sigma: number): void => {
    normal[i * n + i]! += 1 / (sigma * sigma);
    right[i]! -= value / (sigma * sigma);
  };
  let gainSum = 0;
  let skySum = 0;
  for (let f = 0; f < frameCount; f++) {
    gainSum += state.logGain[f]!;
    skySum += state.sky[f]! - skyStart[f]!;
    prior(f, state.logGain[f]!, 3);
    prior(frameCount + f, state.sky[f]! - skyStart[f]!, 0.1);
  }
  for (let f = 0; f < frameCount; f++) {
    for (let g = 0; g <= f; g++) {
      normal[f * n + g]! += GAUGE;
      normal[(frameCount + f) * n + frameCount + g]! += SKY_GAUGE;
    }
    right[f]! -= GAUGE * gainSum;
    right[frameCount + f]! -= SKY_GAUGE * skySum;
  }
  if (!problem.solvePattern) return;
  state.slope.forEach((v, k) => {
    prior(2 * frameCount + k, v, SLOPE_PRIOR);
  });
  state.pattern.radial.forEach((v, k) => {
    prior(patternAt + k, v, RADIAL_PRIOR);
  });
  state.pattern.nodes.forEach((v, k) => {
    prior(patternAt + RADIAL_TERMS + k, v, NODE_PRIOR);
  });
}

/** Weight that holds the sum of the log gains, which the data leave free, and that of the sky where none is seen. */
const GAUGE = 1e6;
const SKY_GAUGE = 100;

/** Cells whose ground has come out as dark as sky. */
function darkNow(problem: LightProblem, state: State): Uint8Array {
  const level = Float64Array.from({ length: problem.ground.cellCount }, (_, c) => lookAtCell(problem, state, c).ground);
  const bright = Float64Array.from(level).sort()[Math.floor(level.length * 0.95)] ?? 0;
  return Uint8Array.from(level, (v) => (v < DARK_SHARE * bright ? 1 : 0));
}

/** Residuals of the cells that several frames have seen, each divided by what `scale` says. */
function residualSpread(
  problem: LightProblem,
  state: State,
  scale = (s: Seen, _i: number): number => Math.max(s.model, FLOOR),
): number {
  const { ground } = problem;
  const sizes: number[] = [];
  for (let c = 0; c < ground.cellCount; c++) {
    const first = ground.cellStart[c]!;
    if (ground.cellStart[c + 1]! - first < 2) continue;
    lookAtCell(problem, state, c).seen.forEach((s, k) => {
      sizes.push(Math.abs(s.residual) / scale(s, first + k));
    });
  }
  sizes.sort((a, b) => a - b);
  return sizes.length === 0 ? 0 : 1.4826 * sizes[Math.floor(sizes.length / 2)]!;
}

function loosenessOf(problem: LightProblem, state: State): number {
  return Math.max(
    1,
    residualSpread(problem, state, (_, i) => sigmaOf(problem.ground, problem.value, i)),
  );
}
