import { CholeskyDecomposition, Matrix } from 'ml-matrix';
import { addField, type BendSpread, covarianceAt, LEAST_VARIANCE, type Residuals } from '../compute/bend-spread.js';
import type { SeeingField } from './seeing-field.js';

/**
 * The most probable field given the patches (optimal interpolation, Gandin 1963): weighted by what the air's covariance
 * says of each knot and each pair of patches, and by the patches' noise; 0 far from all patches. Fills `field`.
 */
export function smoothField(residuals: Residuals, spread: BendSpread, field: SeeingField): void {
  field.x.fill(0);
  field.y.fill(0);
  const n = residuals.length;
  if (n === 0 || spread.parts.length === 0) return;
  const matrix = new Matrix(n, n);
  for (let i = 0; i < n; i++) {
    const p = residuals[i]!;
    for (let k = 0; k < i; k++) {
      const q = residuals[k]!;
      const value = covarianceAt(spread, (p.x - q.x) ** 2 + (p.y - q.y) ** 2);
      matrix.set(i, k, value);
      matrix.set(k, i, value);
    }
    matrix.set(i, i, covarianceAt(spread, 0) + Math.max(LEAST_VARIANCE, spread.noiseScale * p.variance));
  }
  const right = new Matrix(residuals.map((p) => [p.dx, p.dy]));
  const weights = new CholeskyDecomposition(matrix).solve(right);
  const wx = weights.getColumn(0);
  const wy = weights.getColumn(1);
  addField(residuals, wx, wy, spread, { x0: 0, y0: 0, ...field });
}
