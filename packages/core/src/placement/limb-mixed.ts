import { invertSymmetric } from '../compute/small-solve.js';
import { type Block, marginal, PARTS } from './limb-blocks.js';
import { type Field, meansAt } from './limb-field.js';

/** A solved mixed model: the means along the limb, and what each place differs by. */
export interface Mixed {
  /** The unknowns of the field, and their covariance, row-major. */
  readonly solution: Float64Array;
  readonly covariance: Float64Array;
  readonly marginals: readonly Block[];
  /**
   * For each place and part: M·(what the means leave unexplained), which times the scatter is the most probable deviation,
   * and the expectation of its square.
   */
  readonly leftovers: readonly Float64Array[];
  readonly expected: readonly Float64Array[];
}

/**
 * Generalised least squares for the means, with the deviations of every place integrated out. `scatters` are the
 * variances of each place's parts about the means, `bound` the prior variance of each unknown, Infinity where it is free.
 * Undefined when the unknowns are not determined.
 */
export function solveMixed(
  blocks: readonly Block[],
  field: Field,
  scatters: readonly Float64Array[],
  bound: Float64Array,
): Mixed | undefined {
  const n = field.unknowns;
  const normal = new Float64Array(n * n);
  const right = new Float64Array(n);
  const marginals = blocks.map((block, k) => {
    const m = marginal(block, scatters[k]!);
    accumulate(normal, right, field, k, m);
    return m;
  });
  for (let i = 0; i < n; i++) normal[i * n + i]! += 1 / bound[i]!;
  const covariance = invertSymmetric(normal, n);
  if (!covariance) return undefined;
  const solution = right.map((_, i) => right.reduce((sum, v, j) => sum + covariance[i * n + j]! * v, 0));
  const leftovers = marginals.map((m, k) => leftover(m, meansAt(field, k, solution)));
  const expected = marginals.map((m, k) => expectedSquares(m, commonVariance(field, k, covariance)));
  return { solution, covariance, marginals, leftovers, expected };
}

/** c − M·θ: the pull that the means leave. */
export function leftover({ information, pull }: Block, mean: Float64Array): Float64Array {
  return pull.map((v, i) => {
    let sum = v;
    for (let j = 0; j < PARTS; j++) sum -= information[i * PARTS + j]! * mean[j]!;
    return sum;
  });
}

function accumulate(normal: Float64Array, right: Float64Array, field: Field, k: number, m: Block): void {
  const rows = field.rows[k]!;
  const n = field.unknowns;
  for (let i = 0; i < PARTS; i++) {
    const [a, row] = [field.start[i]!, rows[i]!];
    for (let u = 0; u < row.length; u++) right[a + u]! += row[u]! * m.pull[i]!;
    for (let j = 0; j < PARTS; j++) {
      const [b, other] = [field.start[j]!, rows[j]!];
      const entry = m.information[i * PARTS + j]!;
      for (let u = 0; u < row.length; u++) {
        const scaled = entry * row[u]!;
        for (let v = 0; v < other.length; v++) normal[(a + u) * n + b + v]! += scaled * other[v]!;
      }
    }
  }
}

/** Covariance of the means of a place. */
function commonVariance(field: Field, k: number, covariance: Float64Array): Float64Array {
  const n = field.unknowns;
  const out = new Float64Array(PARTS * PARTS);
  for (let i = 0; i < PARTS; i++) {
    const row = field.rows[k]![i]!;
    for (let j = 0; j <= i; j++) {
      const other = field.rows[k]![j]!;
      let sum = 0;
      for (let u = 0; u < row.length; u++) {
        const at = (field.start[i]! + u) * n + field.start[j]!;
        for (let v = 0; v < other.length; v++) sum += row[u]! * covariance[at + v]! * other[v]!;
      }
      out[i * PARTS + j] = sum;
      out[j * PARTS + i] = sum;
    }
  }
  return out;
}

/** Diagonal of M − M·U·M, with U the covariance of the means. */
function expectedSquares({ information }: Block, common: Float64Array): Float64Array {
  return Float64Array.from({ length: PARTS }, (_, i) => {
    let sum = information[i * PARTS + i]!;
    for (let a = 0; a < PARTS; a++) {
      for (let b = 0; b < PARTS; b++) {
        sum -= information[i * PARTS + a]! * common[a * PARTS + b]! * information[b * PARTS + i]!;
      }
    }
    return sum;
  });
}
