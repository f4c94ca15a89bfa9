import type { BendGrid } from '../compute/bend-grid.js';
import { addField, type BendSpread, interpolationWeights, type Residuals } from '../compute/bend-spread.js';

/**
 * The most probable field of a frame given its patches, by what the air's covariance says of each knot and each pair of
 * patches, and by the patches' noise; 0 far from all patches. Fills `field`.
 */
export function smoothField(residuals: Residuals, spread: BendSpread, field: BendGrid): void {
  field.x.fill(0);
  field.y.fill(0);
  if (residuals.length === 0 || spread.parts.length === 0) return;
  addField(residuals, interpolationWeights(residuals, spread), spread, field);
}
