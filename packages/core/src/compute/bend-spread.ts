import { CholeskyDecomposition, Matrix, solve } from 'ml-matrix';
import type { BendGrid } from './bend-grid.js';

/** Bends measured at places of one picture, px. */
export type Residuals = readonly {
  readonly x: number;
  readonly y: number;
  readonly dx: number;
  readonly dy: number;
  /** From noise, px² per axis. */
  readonly variance: number;
}[];

/** How the air's bends are alike over a distance: variances, px² per axis, that fall off as Gaussians of given σ. */
export interface BendSpread {
  readonly parts: readonly { readonly sigmaPx: number; readonly variance: number }[];
  /** What the stated variances of the patches are to be multiplied with. */
  readonly noiseScale: number;
}

/** Distance of neighbouring bins, and the longest distance, px. */
const BIN_PX = 24;
const BINS = 16;
/** σ of the Gaussians that the covariance may be made of, px. */
const SIGMAS_PX = [24, 48, 96, 192];

/**
 * Covariance of the bends of a pass, from the products of the residuals of neighbouring patches of the same frame, whose
 * noise is independent: a sum of Gaussians with non-negative variances, by least squares over bins of distance. Their
 * value at distance 0 is what the air does; what the patches scatter beyond it is noise.
 */
export function bendSpread(frames: readonly Residuals[]): BendSpread {
  const sums = new Float64Array(BINS);
  const counts = new Float64Array(BINS);
  const way = new Float64Array(BINS);
  let total = 0;
  let noise = 0;
  let count = 0;
  for (const points of frames) {
    for (const [i, p] of points.entries()) {
      total += (p.dx ** 2 + p.dy ** 2) / 2;
      noise += p.variance;
      count++;
      for (let k = 0; k < i; k++) {
        const q = points[k]!;
        const distance = Math.hypot(p.x - q.x, p.y - q.y);
        const bin = Math.floor(distance / BIN_PX);
        if (bin >= BINS) continue;
        sums[bin]! += (p.dx * q.dx + p.dy * q.dy) / 2;
        way[bin]! += distance;
        counts[bin]!++;
      }
    }
  }
  const bins = [...counts.keys()].filter((b) => counts[b]! > 0);
  const parts = nonNegative(
    bins.map((b) => SIGMAS_PX.map((sigma) => Math.exp(-0.5 * (way[b]! / counts[b]! / sigma) ** 2))),
    bins.map((b) => sums[b]! / counts[b]!),
    bins.map((b) => counts[b]!),
  );
  const air = parts.reduce((sum, v) => sum + v, 0);
  const scale = noise > 0 ? (total - count * air) / noise : 1;
  return {
    parts: parts.flatMap((variance, k) => (variance > 0 ? [{ sigmaPx: SIGMAS_PX[k]!, variance }] : [])),
    noiseScale: Math.min(MOST_NOISE_SCALE, Math.max(1, scale)),
  };
}

const MOST_NOISE_SCALE = 9;

/** Weighted least squares with non-negative unknowns: all sets of the few unknowns are tried. */
function nonNegative(rows: readonly number[][], right: readonly number[], weights: readonly number[]): number[] {
  const n = SIGMAS_PX.length;
  let best = new Array<number>(n).fill(0);
  let least = misfit(rows, right, weights, best);
  for (let set = 1; set < 1 << n; set++) {
    const taken = [...best.keys()].filter((k) => (set >> k) & 1);
    if (taken.length > rows.length) continue;
    const root = weights.map(Math.sqrt);
    const a = new Matrix(rows.map((row, i) => taken.map((k) => root[i]! * row[k]!)));
    const found = solve(a, Matrix.columnVector(right.map((v, i) => root[i]! * v)), true);
    const values = new Array<number>(n).fill(0);
    taken.forEach((k, i) => {
      values[k] = found.get(i, 0);
    });
    if (values.some((v) => !(v >= 0))) continue;
    const off = misfit(rows, right, weights, values);
    if (off < least) {
      least = off;
      best = values;
    }
  }
  return best;
}

function misfit(
  rows: readonly number[][],
  right: readonly number[],
  weights: readonly number[],
  values: readonly number[],
): number {
  return rows.reduce((sum, row, i) => {
    const off = right[i]! - row.reduce((s, v, k) => s + v * values[k]!, 0);
    return sum + weights[i]! * off * off;
  }, 0);
}

/** (0.01 px)²: what interpolation and convergence leave of a measured bend. */
const LEAST_VARIANCE = 1e-4;

/** Covariance of the bends at two places, given the square of their distance. */
export function covarianceAt(spread: BendSpread, square: number): number {
  return spread.parts.reduce((sum, p) => sum + p.variance * Math.exp((-0.5 * square) / p.sigmaPx ** 2), 0);
}

/**
 * What the measured bends count at each place for the most probable field (optimal interpolation, Gandin 1963): the
 * solution of (covariance + noise) · weights = bends, by axis. `shared` is the factor of the covariance of two
 * measurements, by index; it is 1 where both are of one field.
 */
export function interpolationWeights(
  points: Residuals,
  spread: BendSpread,
  shared: (i: number, k: number) => number = () => 1,
): { readonly x: readonly number[]; readonly y: readonly number[] } {
  const n = points.length;
  const matrix = new Matrix(n, n);
  for (let i = 0; i < n; i++) {
    const p = points[i]!;
    for (let k = 0; k <= i; k++) {
      const factor = shared(i, k);
      if (factor === 0) continue;
      const q = points[k]!;
      const value = factor * covarianceAt(spread, (p.x - q.x) ** 2 + (p.y - q.y) ** 2);
      matrix.set(i, k, value);
      matrix.set(k, i, value);
    }
    matrix.set(i, i, matrix.get(i, i) + Math.max(LEAST_VARIANCE, spread.noiseScale * p.variance));
  }
  const weights = new CholeskyDecomposition(matrix).solve(new Matrix(points.map((p) => [p.dx, p.dy])));
  return { x: weights.getColumn(0), y: weights.getColumn(1) };
}

/** Adds Σ weight · covariance(knot, place) to every knot. */
export function addField(
  places: readonly { readonly x: number; readonly y: number }[],
  weights: { readonly x: ArrayLike<number>; readonly y: ArrayLike<number> },
  spread: BendSpread,
  grid: BendGrid,
): void {
  const { x0, y0, stepPx, columns, rows } = grid;
  for (const { sigmaPx, variance } of spread.parts) {
    // The Gaussian is a product of one along x and one along y.
    const fall = (d: number): number => Math.exp((-0.5 * d * d) / (sigmaPx * sigmaPx));
    const alongX = places.map((p) => Float64Array.from({ length: columns }, (_, c) => fall(x0 + c * stepPx - p.x)));
    for (let r = 0; r < rows; r++) {
      for (let i = 0; i < places.length; i++) {
        const down = variance * fall(y0 + r * stepPx - places[i]!.y);
        if (down < 1e-6 * variance) continue;
        const [ax, ay, along] = [down * weights.x[i]!, down * weights.y[i]!, alongX[i]!];
        for (let c = 0, k = r * columns; c < columns; c++, k++) {
          grid.x[k]! += ax * along[c]!;
          grid.y[k]! += ay * along[c]!;
        }
      }
    }
  }
}
