import type { LightProblem, Look, PreparedLight, State } from './light-model.js';
import { BASIS_TERMS, PATTERN_SIZE, RADIAL_TERMS } from './pattern.js';

/** A linear system, lower half, row-major. */
export interface NormalEquations {
  readonly size: number;
  readonly normal: Float64Array;
  readonly right: Float64Array;
  /** First unknown of the pattern; before it come log gains, skies and the slopes of the passes. */
  readonly patternAt: number;
}

/** Sets up one Gauss–Newton step: unknowns are log gains, skies and, when solved for, slopes and pattern. */
export function lightEquations(problem: PreparedLight, state: State, look: Look): NormalEquations {
  const patternAt = 2 * problem.passOf.length + 2 * problem.slopes.length;
  const size = problem.solvePattern ? patternAt + PATTERN_SIZE : 2 * problem.passOf.length;
  const normal = new Float64Array(size * size);
  const right = new Float64Array(size);
  gather(problem, state, look, normal, right, size);
  addPriors(problem, state, normal, right, size);
  return { size, normal, right, patternAt };
}

const SLOPE_PRIOR = 0.3;
const RADIAL_PRIOR = 0.25;
const NODE_PRIOR = 0.006;

/** Accumulates the normal equations, lower half, with each cell's ground eliminated. */
function gather(
  problem: PreparedLight,
  state: State,
  look: Look,
  normal: Float64Array,
  right: Float64Array,
  n: number,
): void {
  const { ground, solvePattern, passOf, basisIndex, basisValue } = problem;
  const frameCount = passOf.length;
  const patternAt = 2 * frameCount + 2 * problem.slopes.length;
  const columns: number[] = [];
  const shared = new Float64Array(n);
  const marked = new Uint8Array(n);
  const row = new Float64Array(BASIS_TERMS + 4);
  const slot = new Uint32Array(BASIS_TERMS + 4);
  const terms = solvePattern ? BASIS_TERMS + 4 : 2;
  for (let c = 0; c < ground.cellCount; c++) {
    if (ground.cellStart[c + 1]! - ground.cellStart[c]! < 2 && state.dark[c] === 0) continue;
    const level = look.ground[c]!;
    let weightSum = look.prior[c]!;
    let residualSum = -weightSum * level;
    columns.length = 0;
    for (let i = ground.cellStart[c]!; i < ground.cellStart[c + 1]!; i++) {
      const f = ground.frame[i]!;
      const pattern = look.pattern[i]!;
      const gain = look.gain[f]!;
      const weight = look.weight[i]!;
      const residual = look.residual[i]!;
      slot[0] = f;
      row[0] = pattern * gain * level;
      slot[1] = frameCount + f;
      row[1] = pattern * look.skyShape[i]!;
      if (solvePattern) {
        for (let t = 0; t < BASIS_TERMS; t++) {
          slot[t + 4] = patternAt + basisIndex[BASIS_TERMS * i + t]!;
          row[t + 4] = look.model[i]! * basisValue[BASIS_TERMS * i + t]!;
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

function addPriors(problem: LightProblem, state: State, normal: Float64Array, right: Float64Array, n: number): void {
  const { skyStart } = problem;
  const frameCount = skyStart.length;
  const patternAt = 2 * frameCount + 2 * problem.slopes.length;
  const prior = (i: number, value: number, sigma: number): void => {
    normal[i * n + i]! += 1 / (sigma * sigma);
    right[i]! -= value / (sigma * sigma);
  };
  const gainSum = new Map<number, number>();
  let skySum = 0;
  for (let f = 0; f < frameCount; f++) {
    const group = state.groupOf[f]!;
    gainSum.set(group, (gainSum.get(group) ?? 0) + state.logGain[f]!);
    skySum += state.sky[f]! - skyStart[f]!;
    prior(f, state.logGain[f]!, 3);
    prior(frameCount + f, state.sky[f]! - skyStart[f]!, 0.1);
  }
  for (let f = 0; f < frameCount; f++) {
    for (let g = 0; g <= f; g++) {
      if (state.groupOf[f] === state.groupOf[g]) normal[f * n + g]! += GAUGE;
      normal[(frameCount + f) * n + frameCount + g]! += SKY_GAUGE;
    }
    right[f]! -= GAUGE * gainSum.get(state.groupOf[f]!)!;
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

/** Weight that holds the sum of the log gains of a group, which the data leave free, and that of the sky where none is seen. */
const GAUGE = 1e6;
const SKY_GAUGE = 100;
