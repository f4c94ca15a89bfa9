import { quantile } from '../compute/quantile.js';
import { BLUR, OFFSET, PARTS, SHADING } from './limb-blocks.js';
import type { Field } from './limb-field.js';
import type { Mixed } from './limb-mixed.js';

/** How the parts of the places spread; nothing is said about the edge itself. */
export interface Spread {
  /** Variance of each part from place to place; 0 for the blur, which the optics give to all. */
  readonly scatter: Float64Array;
  /** For each place and part how many times larger it is there: a few places differ by far more than most. */
  readonly tails: readonly Float64Array[];
  /** Variance of the first wave of each part's mean; it falls off with the fourth power, as for cubic splines. */
  readonly wave: Float64Array;
}

/** A wide spread to begin with, from the parts that the places found on their own. */
export function firstSpread(parts: readonly Float64Array[]): Spread {
  const scatter = Float64Array.from({ length: PARTS }, (_, j) => {
    if (j === BLUR || j === OFFSET) return 0;
    const values = parts.map((p) => p[j]!);
    const middle = quantile(values, 0.5);
    const deviation = quantile(
      values.map((v) => Math.abs(v - middle)),
      0.5,
    );
    return limited(j, Math.max(LEAST_SPREAD, (1.4826 * deviation) ** 2));
  });
  return { scatter, wave: scatter.slice(), tails: parts.map(() => new Float64Array(PARTS).fill(1)) };
}

/** Prior variance of each unknown of the field: the disc and all constants but the shading's are free. */
export function waveVariances(spread: Spread, field: Field): Float64Array {
  const out = new Float64Array(field.unknowns).fill(Infinity);
  out.fill(MOST_SHADING, field.start[SHADING]!, field.start[SHADING]! + firstBound(SHADING, field));
  eachWave(field, (part, m, at) => {
    out[at] = spread.wave[part]! / m ** 4;
  });
  return out;
}

/**
 * One step towards the spread at which the restricted likelihood is greatest (Patterson & Thompson 1971; the fixed point
 * of MacKay 1992), with Student's t for the scatter (Lange, Little & Taylor 1989).
 */
export function respread({ scatter, tails, wave }: Spread, mixed: Mixed, field: Field): Spread {
  const observed = new Float64Array(PARTS);
  const expected = new Float64Array(PARTS);
  const nextTails = tails.map((heavy, k) =>
    heavy.map((h, j) => {
      const left = mixed.leftovers[k]![j]! ** 2;
      const precision = mixed.expected[k]![j]!;
      observed[j]! += h * left;
      expected[j]! += h * precision;
      // Expectation of the squared deviation over the scatter.
      const square = h + scatter[j]! * h * h * (left - precision);
      return (FREEDOM + square) / (FREEDOM + 1);
    }),
  );
  const nextScatter = scatter.map((v, j) => limited(j, grown(v, observed[j]!, expected[j]!)));
  const squares = new Float64Array(PARTS);
  const determined = new Float64Array(PARTS);
  eachWave(field, (part, m, at) => {
    const variance = mixed.covariance[at * field.unknowns + at]!;
    squares[part]! += mixed.solution[at]! ** 2 * m ** 4;
    determined[part]! += wave[part]! - variance * m ** 4;
  });
  const nextWave = wave.map((v, j) => limited(j, grown(v, squares[j]! / v, determined[j]! / v)));
  return { scatter: nextScatter, tails: nextTails, wave: nextWave };
}

/** Degrees of freedom of Student's t. */
const FREEDOM = 4;
const LEAST_SPREAD = 1e-9;
/** Variance of the shading at most, px⁻¹: more is not told from a lower step. */
const MOST_SHADING = 0.25;

/** The next estimate of a variance; 0 stays. */
function grown(value: number, observed: number, expected: number): number {
  if (value === 0 || !(expected > 1e-12)) return value;
  return Math.max(LEAST_SPREAD, value * Math.min(4, observed / expected));
}

/** First wave that is bound: not the trend of a shading whose shape was taken from it. */
function firstBound(part: number, field: Field): number {
  return part === SHADING && field.sunwards !== undefined ? 2 : 1;
}

function limited(part: number, variance: number): number {
  return part === SHADING ? Math.min(MOST_SHADING, variance) : variance;
}

function eachWave(field: Field, visit: (part: number, m: number, at: number) => void): void {
  for (let part = 0; part < PARTS; part++) {
    if (part === OFFSET) continue;
    for (let m = firstBound(part, field); m < field.length[part]!; m++) visit(part, m, field.start[part]! + m);
  }
}
