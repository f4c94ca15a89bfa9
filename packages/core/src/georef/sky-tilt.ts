import type { Affine } from '../compute/affine.js';
import { DEG } from '../sky/angles.js';
import type { Drift } from '../sky/drift.js';

/**
 * What refraction does to the disc: `verticalScale` along the zenith's position angle and `horizontalScale` across it,
 * as a map of the tangent plane (space 5: x to the west, y to the north) onto itself.
 */
export function flatteningOf({ parallacticAngleDeg, verticalScale, horizontalScale }: Drift): Affine {
  // From north through east, that is against x.
  const [west, north] = [-Math.sin(parallacticAngleDeg * DEG), Math.cos(parallacticAngleDeg * DEG)];
  const more = verticalScale - horizontalScale;
  return {
    xx: horizontalScale + more * west * west,
    xy: more * west * north,
    yx: more * west * north,
    yy: horizontalScale + more * north * north,
    tx: 0,
    ty: 0,
  };
}

/** From space 5 (x to the west, y to the north) to a plate on which north lies `northDeg` clockwise from up; scale 1. */
export function skyTurn(northDeg: number): Affine {
  const [sin, cos] = [Math.sin(northDeg * DEG), Math.cos(northDeg * DEG)];
  return { xx: cos, xy: sin, yx: sin, yy: -cos, tx: 0, ty: 0 };
}

/** Position angle, degrees from north through east, of a direction of space 5. */
export function positionAngleOf(west: number, north: number): number {
  return Math.atan2(-west, north) / DEG;
}

/** Position angle at which the body's axis is seen through the air. */
export function seenAxisDeg(axisPositionAngleDeg: number, flattening: Affine): number {
  const west = -Math.sin(axisPositionAngleDeg * DEG);
  const north = Math.cos(axisPositionAngleDeg * DEG);
  return positionAngleOf(flattening.xx * west + flattening.xy * north, flattening.yx * west + flattening.yy * north);
}
