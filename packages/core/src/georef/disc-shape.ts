import type { Affine } from '../compute/affine.js';

/** Semi-axes of the ellipse that a linear map makes of the unit circle, and the direction of the longer one. */
export interface DiscShape {
  readonly semiMajorPx: number;
  readonly semiMinorPx: number;
  /** Degrees clockwise from up (y down), 0 to 180; 0 for a circle. */
  readonly majorDeg: number;
}

/** The shape of a disc on the plate (space 4), from the map of its plane: singular values of a 2 × 2 matrix. */
export function discShape({ xx, xy, yx, yy }: Affine): DiscShape {
  // M·Mᵀ, whose eigenvectors are the ellipse's axes.
  const [a, b, c] = [xx * xx + xy * xy, xx * yx + xy * yy, yx * yx + yy * yy];
  const middle = (a + c) / 2;
  const half = Math.hypot((a - c) / 2, b);
  const semiMajorPx = Math.sqrt(middle + half);
  const semiMinorPx = Math.sqrt(Math.max(0, middle - half));
  if (half < 1e-12 * middle) return { semiMajorPx, semiMinorPx, majorDeg: 0 };
  const angle = Math.atan2(2 * b, a - c) / 2;
  const majorDeg = ((((angle * 180) / Math.PI + 90) % 180) + 180) % 180;
  return { semiMajorPx, semiMinorPx, majorDeg };
}
