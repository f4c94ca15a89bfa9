import { invertSymmetric, solveInPlace } from '../compute/small-solve.js';
import { PAIR_SUMS, type PairBlocks } from './pair-normal.js';
import type { PairFreedom } from './pair-types.js';

/** Number of pose parameters: shift x, shift y, turn (rad), log scale, log squeeze. */
export const PAIR_UNKNOWNS: Readonly<Record<PairFreedom, number>> = { shift: 2, rigid: 3, similarity: 4, squeezed: 5 };

/** One step of Gauss–Newton and what the sums say about its error. */
export interface PairStep {
  /** To be added to shift x, shift y (px), turn (rad), log scale, log squeeze, as far as free. */
  readonly delta: Float64Array;
  /** To be multiplied onto the gain, then added to the offset. */
  readonly gainFactor: number;
  readonly offsetStep: number;
  /** Covariance of the pose parameters after the step, n × n, from the scatter of the blocks' own steps. */
  readonly covariance: Float64Array;
  /** Inverse of the information matrix of the pose parameters for noise of variance 1 in a − b. */
  readonly unitBound: Float64Array;
  /** Mean square of a − b after the step, by weight. */
  readonly residualVariance: number;
  readonly correlation: number;
  /** Energy of the noise of one picture's derivatives over that of the scene's. */
  readonly noiseShare: number;
}

/** Gain and offset follow the pose parameters. */
const LIGHT = 2;

/**
 * Solves the normal equations about (cx, cy), fixed px, at the present squeeze. The covariance is the sandwich
 * H⁻¹·V·H⁻¹ (zeros when not asked for) with V from the blocks' shares of the right-hand side (White 1980), so that it holds for whatever noise
 * there is: coloured, uneven, of the gradients too. Undefined when the sums do not fix the parameters.
 */
export function solvePair(
  blocks: PairBlocks,
  freedom: PairFreedom,
  cx: number,
  cy: number,
  squeeze: number,
  withCovariance: boolean,
): PairStep | undefined {
  const n = PAIR_UNKNOWNS[freedom];
  const size = n + LIGHT;
  const total = totals(blocks);
  if (!(total[0]! > 0)) return undefined;
  const mean = total[11]! / total[0]!;
  const h = new Float64Array(size * size);
  const q = new Float64Array(size);
  const columns = new Float64Array(2 * n);
  const share = new Float64Array(size);
  const local = new Float64Array(size * size);
  const used: number[] = [];
  for (let block = 0; block < blocks.columns * blocks.rows; block++) {
    if (!(blocks.sums[block * PAIR_SUMS]! > 0)) continue;
    used.push(block);
    blockShare(blocks, block, n, cx, cy, squeeze, mean, columns, share, local);
    for (let k = 0; k < q.length; k++) q[k]! += share[k]!;
    for (let k = 0; k < h.length; k++) h[k]! += local[k]!;
  }
  const units = equilibrate(h, size);
  if (!units) return undefined;
  const inverse = invertSymmetric(h, size);
  const step = Float64Array.from(q, (v, k) => -v * units[k]!);
  if (!inverse || !solveInPlace(h.slice(), step, size)) return undefined;
  for (let k = 0; k < size; k++) step[k]! *= units[k]!;
  const scatter = new Float64Array(size * size);
  for (const block of withCovariance ? used : []) {
    blockShare(blocks, block, n, cx, cy, squeeze, mean, columns, share, local);
    for (let j = 0; j < size; j++) for (let k = 0; k < size; k++) share[j]! += local[j * size + k]! * step[k]!;
    for (let j = 0; j < size; j++) {
      for (let k = 0; k < size; k++) scatter[j * size + k]! += share[j]! * units[j]! * share[k]! * units[k]!;
    }
  }
  const freeBlocks = Math.max(1, used.length - size);
  const sandwich = sandwiched(inverse, scatter, size, used.length / freeBlocks);
  const part = (m: Float64Array): Float64Array => {
    const out = new Float64Array(n * n);
    for (let j = 0; j < n; j++) for (let k = 0; k < n; k++) out[j * n + k] = m[j * size + k]! * units[j]! * units[k]!;
    return out;
  };
  return {
    delta: step.slice(0, n),
    gainFactor: 1 + step[n]!,
    offsetStep: step[n + 1]! - step[n]! * mean,
    covariance: part(sandwich),
    unitBound: part(inverse),
    residualVariance: Math.max(0, total[14]! + q.reduce((sum, v, k) => sum + v * step[k]!, 0)) / total[0]!,
    correlation: correlationOf(total),
    noiseShare: noiseShare(total),
  };
}

function totals(blocks: PairBlocks): Float64Array {
  const total = new Float64Array(PAIR_SUMS);
  for (let i = 0; i < blocks.sums.length; i += PAIR_SUMS)
    for (let k = 0; k < PAIR_SUMS; k++) total[k]! += blocks.sums[i + k]!;
  return total;
}

/** Right-hand side and normal matrix of one block, its place taken as that of its middle. */
function blockShare(
  blocks: PairBlocks,
  block: number,
  n: number,
  cx: number,
  cy: number,
  squeeze: number,
  mean: number,
  columns: Float64Array,
  share: Float64Array,
  local: Float64Array,
): void {
  const size = n + LIGHT;
  const s = blocks.sums.subarray(block * PAIR_SUMS, (block + 1) * PAIR_SUMS);
  const w = s[0]!;
  const hxx = s[1]!;
  const hxy = s[2]!;
  const hyy = s[3]!;
  const u = ((block % blocks.columns) + 0.5) * blocks.sidePx - 0.5 - cx;
  const v = (Math.floor(block / blocks.columns) + 0.5) * blocks.sidePx - 0.5 - cy;
  fillColumns(columns, n, u, v, squeeze);
  const sm = s[11]! - mean * w;
  for (let j = 0; j < n; j++) {
    const jx = columns[2 * j]!;
    const jy = columns[2 * j + 1]!;
    share[j] = jx * s[4]! + jy * s[5]!;
    for (let k = 0; k < n; k++) {
      const kx = columns[2 * k]!;
      const ky = columns[2 * k + 1]!;
      local[j * size + k] = jx * kx * hxx + (jx * ky + jy * kx) * hxy + jy * ky * hyy;
    }
    const gain = -(jx * (s[6]! - mean * s[8]!) + jy * (s[7]! - mean * s[9]!));
    const level = -(jx * s[8]! + jy * s[9]!);
    local[j * size + n] = gain;
    local[n * size + j] = gain;
    local[j * size + n + 1] = level;
    local[(n + 1) * size + j] = level;
  }
  share[n] = -(s[12]! - mean * s[13]!);
  share[n + 1] = -s[13]!;
  local[n * size + n] = s[10]! - s[14]! / 4 - 2 * mean * s[11]! + mean * mean * w;
  local[n * size + n + 1] = sm;
  local[(n + 1) * size + n] = sm;
  local[(n + 1) * size + n + 1] = w;
}

/** How a point (u, v) from the centre moves, x and y, per unit of each parameter. */
function fillColumns(columns: Float64Array, n: number, u: number, v: number, squeeze: number): void {
  columns[0] = 1;
  columns[1] = 0;
  columns[2] = 0;
  columns[3] = 1;
  if (n > 2) {
    columns[4] = -v / squeeze;
    columns[5] = u * squeeze;
  }
  if (n > 3) {
    columns[6] = u;
    columns[7] = v;
  }
  if (n > 4) {
    columns[8] = 0;
    columns[9] = v;
  }
}

/** Scales a matrix to a diagonal of ones in place; returns the units, or undefined when a diagonal is not positive. */
function equilibrate(h: Float64Array, size: number): Float64Array | undefined {
  const units = new Float64Array(size);
  for (let k = 0; k < size; k++) {
    if (!(h[k * size + k]! > 0 && h[k * size + k]! < Infinity)) return undefined;
    units[k] = 1 / Math.sqrt(h[k * size + k]!);
  }
  for (let j = 0; j < size; j++) for (let k = 0; k < size; k++) h[j * size + k]! *= units[j]! * units[k]!;
  return units;
}

function sandwiched(inverse: Float64Array, scatter: Float64Array, size: number, factor: number): Float64Array {
  const half = new Float64Array(size * size);
  const out = new Float64Array(size * size);
  for (let j = 0; j < size; j++)
    for (let k = 0; k < size; k++)
      for (let l = 0; l < size; l++) half[j * size + k]! += inverse[j * size + l]! * scatter[l * size + k]!;
  for (let j = 0; j < size; j++)
    for (let k = 0; k < size; k++)
      for (let l = 0; l < size; l++) out[j * size + k]! += factor * half[j * size + l]! * inverse[l * size + k]!;
  return out;
}

function residualVariance(s: Float64Array): number {
  return Math.max(0, s[14]! / s[0]! - (s[13]! / s[0]!) ** 2);
}

function correlationOf(s: Float64Array): number {
  const n = s[0]!;
  const mean = s[11]! / n;
  const r = s[13]! / n;
  const mm = s[10]! / n - mean * mean;
  const rm = s[12]! / n - r * mean;
  const rr = s[14]! / n - r * r;
  const scale = Math.sqrt(Math.max(0, mm + rm + rr / 4) * Math.max(0, mm - rm + rr / 4));
  return scale > 0 ? Math.max(-1, Math.min(1, (mm - rr / 4) / scale)) : 0;
}

/** Sum of the squared weights of the five-point derivative. */
const DERIVATIVE_NOISE = 2 * ((8 / 12) ** 2 + (1 / 12) ** 2);

function noiseShare(s: Float64Array): number {
  const energy = s[1]! + s[3]!;
  return energy > 0 ? (DERIVATIVE_NOISE * residualVariance(s) * s[0]!) / energy : Infinity;
}
