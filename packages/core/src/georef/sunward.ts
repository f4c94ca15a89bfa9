import { DEG, dot, fromSphere } from '../sky/angles.js';
import type { BodyPoint } from '../sky/types.js';
import { bodyToDisc } from './body-pose.js';
import { groundOf } from './fit-pose.js';
import type { MapShift, PosedDisc } from './map-patches.js';

/**
 * Slopes that face the Sun shine, and that moves the pattern of the ground towards it: by this share of the radius and
 * the tangent of the Sun's distance from the zenith. Measured by laying the albedo on scenes drawn from the Moon's real
 * albedo and relief, with the Sun at seven longitudes: 0.0004 to 0.0008, across the Sun's direction nothing.
 */
const SUNWARD_SHARE = 5.8e-4;
/** Lower suns shift no further. */
const MOST_TANGENT = 2.5;

/** Shifts of patches without what the Sun on the relief adds to them. */
export function withoutSunward(shifts: readonly MapShift[], pose: PosedDisc, sun: BodyPoint): MapShift[] {
  const frame = {
    radiusKm: 1,
    distanceKm: pose.distanceRadii,
    subObserver: pose.subObserver,
    subSolar: null,
    axisPositionAngleDeg: 0,
  };
  const { u, v } = bodyToDisc(frame, sun);
  const length = Math.hypot(u, v);
  if (length < 1e-6) return [...shifts];
  const axis = pose.axisDeg * DEG;
  const x = (u * Math.cos(axis) + v * Math.sin(axis)) / length;
  const y = (u * Math.sin(axis) - v * Math.cos(axis)) / length;
  const towards = fromSphere(sun.longitudeDeg, sun.latitudeDeg);
  return shifts.map((shift) => {
    const ground = groundOf(pose, shift.x, shift.y);
    if (!ground) return shift;
    const height = dot(fromSphere(ground.longitudeDeg, ground.latitudeDeg), towards);
    const tangent = Math.min(MOST_TANGENT, Math.sqrt(Math.max(0, 1 - height ** 2)) / Math.max(1e-3, height));
    const by = SUNWARD_SHARE * pose.radiusPx * tangent;
    return { ...shift, dx: shift.dx - by * x, dy: shift.dy - by * y };
  });
}
