import { CholeskyDecomposition, Matrix } from 'ml-matrix';
import { valueAtRank } from '../compute/quantile.js';
import { lightEquations } from './light-equations.js';
import {
  darkAtStart,
  darkNow,
  FLOOR,
  type FrameLight,
  groupsOf,
  type LightProblem,
  type Look,
  lookAt,
  type PreparedLight,
  prepareLight,
  type State,
} from './light-model.js';
import { type SmoothPattern, withCoefficients } from './pattern.js';

export type { FrameLight, LightProblem };

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
 * cannot tell apart is settled so: the mean of log gain is 0 in every group of frames that share ground; ground as dark as the sky is taken for sky, whose light
 * is all in the frames' sky term; where no sky is seen the mean sky stays near the start; a tilt of the pattern cannot
 * be told from a tilt of the ground, so a faint prior keeps the nodes at 0.
 */
export function solveLight(given: LightProblem): SolvedLight {
  const problem = prepareLight(given);
  const dark = darkAtStart(problem);
  let state: State = {
    logGain: new Float64Array(problem.passOf.length),
    sky: Float64Array.from(problem.skyStart),
    slope: Float64Array.from(problem.slopes.flat()),
    pattern: problem.pattern,
    dark,
    looseness: 1,
    groupOf: groupsOf(problem, dark),
  };
  state = { ...state, logGain: startGains(problem, state) };
  for (let iteration = 0; iteration < ITERATIONS; iteration++) {
    const next = improve(problem, state);
    const settled = iteration > 0 && changeOf(state, next) < SETTLED;
    state = next;
    if (settled) break;
  }
  return {
    gain: Array.from(state.logGain, Math.exp),
    sky: Array.from(state.sky),
    slopes: problem.slopes.map((_, p) => [state.slope[2 * p]!, state.slope[2 * p + 1]!] as const),
    pattern: state.pattern,
    residual: relativeSpread(problem, lookAt(problem, state)),
  };
}

const ITERATIONS = 12;
/** Relative change of light from step to step that no plate shows: a twentieth of a code value of 16 bits. */
const SETTLED = 1e-6;

/** Largest change of a log gain, a sky, and, as a factor, of the pattern's coefficients; infinite when a cell turned dark. */
function changeOf(a: State, b: State): number {
  if (a.dark.some((dark, c) => dark !== b.dark[c])) return Number.POSITIVE_INFINITY;
  const apart = (p: ArrayLike<number>, q: ArrayLike<number>): number => {
    let most = 0;
    for (let i = 0; i < p.length; i++) most = Math.max(most, Math.abs(p[i]! - q[i]!));
    return most;
  };
  return Math.max(
    apart(a.logGain, b.logGain),
    apart(a.sky, b.sky),
    apart(a.slope, b.slope),
    apart(a.pattern.radial, b.pattern.radial),
    apart(a.pattern.nodes, b.pattern.nodes),
  );
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

function improve(problem: PreparedLight, state: State): State {
  const look = lookAt(problem, state);
  const frameCount = problem.passOf.length;
  const { size, normal, right, patternAt } = lightEquations(problem, state, look);
  const a = new Matrix(size, size);
  for (let i = 0; i < size; i++) {
    for (let j = 0; j <= i; j++) {
      a.set(i, j, normal[i * size + j]!);
      a.set(j, i, normal[i * size + j]!);
    }
  }
  const step = new CholeskyDecomposition(a).solve(Matrix.columnVector(Array.from(right))).to1DArray();
  const logGain = state.logGain.map((v, f) => v + Math.max(-0.5, Math.min(0.5, step[f]!)));
  const sky = state.sky.map((v, f) => v + step[frameCount + f]!);
  const settled = { dark: darkNow(problem, state, look), looseness: loosenessOf(problem, look) };
  if (!problem.solvePattern) return { ...state, ...settled, logGain, sky };
  const slope = state.slope.map((v, k) => v + step[2 * frameCount + k]!);
  const old = [...state.pattern.radial, ...state.pattern.nodes];
  const pattern = withCoefficients(
    state.pattern,
    old.map((v, k) => v + step[patternAt + k]!),
  );
  return { ...state, ...settled, logGain, sky, slope, pattern };
}

/** Robust spread of the residuals of the cells that several frames have seen, each divided by its `scale`. */
function residualSpread({ ground }: LightProblem, look: Look, scale: Float64Array): number {
  const sizes = new Float64Array(look.residual.length);
  let count = 0;
  for (let c = 0; c < ground.cellCount; c++) {
    const first = ground.cellStart[c]!;
    const last = ground.cellStart[c + 1]!;
    if (last - first < 2) continue;
    for (let i = first; i < last; i++) sizes[count++] = Math.abs(look.residual[i]!) / scale[i]!;
  }
  return count === 0 ? 0 : 1.4826 * valueAtRank(sizes.subarray(0, count), Math.floor(count / 2));
}

function relativeSpread(problem: PreparedLight, look: Look): number {
  return residualSpread(
    problem,
    look,
    look.model.map((m) => Math.max(m, FLOOR)),
  );
}

function loosenessOf(problem: PreparedLight, look: Look): number {
  return Math.max(1, residualSpread(problem, look, problem.sigma));
}
