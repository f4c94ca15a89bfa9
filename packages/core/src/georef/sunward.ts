import { angleDeg, DEG, dot, fromSphere } from '../sky/angles.js';
import type { BodyPoint } from '../sky/types.js';
import { bodyToDisc } from './body-pose.js';
import type { SunSide } from './locate-disc.js';
import type { MapShift } from './map-patches.js';
import { discToView, frameOfDisc, groundOf, type PosedDisc } from './posed-disc.js';

/**
 * Slopes that face the Sun shine, and that moves the pattern of the ground towards it: by this share of the radius and
 * the tangent of the Sun's distance from the zenith. Measured by laying the albedo on scenes drawn from the Moon's real
 * albedo and relief, with the Sun at seven longitudes: 0.0004 to 0.0008, across the Sun's direction nothing.
 */
const SUNWARD_SHARE = 5.8e-4;
/** Lower suns shift no further. */
const MOST_TANGENT = 2.5;

/** The side of the Sun on a posed disc. */
export function sunSideOn(pose: PosedDisc, sun: BodyPoint): SunSide {
  const { x, y } = sunDirection(pose, sun) ?? { x: 0, y: -1 };
  const { subObserver } = pose;
  const phaseAngleDeg = angleDeg(
    fromSphere(subObserver.longitudeDeg, subObserver.latitudeDeg),
    fromSphere(sun.longitudeDeg, sun.latitudeDeg),
  );
  return { towardsDeg: Math.atan2(x, -y) / DEG, phaseAngleDeg };
}

/** Unit vector of the view towards the Sun; undefined where it stands behind the observer. */
function sunDirection(pose: PosedDisc, sun: BodyPoint): { x: number; y: number } | undefined {
  const { u, v } = bodyToDisc(frameOfDisc(pose), sun);
  const { xx, xy, yx, yy } = discToView(pose);
  const [x, y] = [xx * u + xy * v, yx * u + yy * v];
  const length = Math.hypot(x, y);
  return length < 1e-6 * pose.radiusPx ? undefined : { x: x / length, y: y / length };
}

/** Shifts of patches without what the Sun on the relief adds to them. */
export function withoutSunward(shifts: readonly MapShift[], pose: PosedDisc, sun: BodyPoint): MapShift[] {
  const direction = sunDirection(pose, sun);
  if (!direction) return [...shifts];
  const { x, y } = direction;
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
