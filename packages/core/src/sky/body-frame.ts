import { ARCSEC, angleDeg, DEG, fromSphere, positiveDeg, toSphere } from './angles.js';
import { type BodyPoint, requireRange, type SkyPoint } from './types.js';

/** How a body stands before the observer at a moment: all that is needed to place its points on the sky and back. */
export interface BodyFrame {
  /** Radius of the sphere, km. */
  readonly radiusKm: number;
  /** From the site to the body's centre, km. */
  readonly distanceKm: number;
  /**
   * Where the observer stands in the zenith, as seen from the site. For the Moon the libration in longitude and
   * latitude, optical and physical; for the Sun L0 and B0.
   */
  readonly subObserver: BodyPoint;
  /** Where the Sun stands in the zenith; null on the Sun itself. */
  readonly subSolar: BodyPoint | null;
  /** Position angle of the body's north pole, degrees from north through east. */
  readonly axisPositionAngleDeg: number;
}

/** A point of the body on the sky. */
export interface PlacedPoint extends SkyPoint {
  /** Whether it is on the near side of the limb; the position of one that is not is where it would shine through. */
  readonly visible: boolean;
  /** Angle at the body's centre from the point to the observer, degrees: 0 in the middle of the disc. */
  readonly fromCentreDeg: number;
}

/**
 * Where a point of the body (space 6) lies in the tangent plane at its centre (space 5), without air. The perspective
 * of a near observer, not an orthographic view: from the Earth the Moon's differs by up to 0.23 % of the radius.
 */
export function bodyToSky(frame: BodyFrame, point: BodyPoint): PlacedPoint {
  requireFrame(frame);
  requirePoint(point);
  const axis = frame.axisPositionAngleDeg * DEG;
  const longitude = (point.longitudeDeg - frame.subObserver.longitudeDeg) * DEG;
  const latitude = point.latitudeDeg * DEG;
  const centre = frame.subObserver.latitudeDeg * DEG;
  const level = Math.cos(latitude) * Math.cos(longitude);
  const right = Math.cos(latitude) * Math.sin(longitude);
  const up = Math.sin(latitude) * Math.cos(centre) - level * Math.sin(centre);
  const near = Math.sin(latitude) * Math.sin(centre) + level * Math.cos(centre);
  const ratio = frame.distanceKm / frame.radiusKm;
  const scale = ARCSEC / (ratio - near);
  return {
    xArcsec: scale * (right * Math.cos(axis) - up * Math.sin(axis)),
    yArcsec: scale * (right * Math.sin(axis) + up * Math.cos(axis)),
    visible: near * ratio > 1,
    fromCentreDeg: Math.atan2(Math.hypot(right, up), near) / DEG,
  };
}

/** The point of the body (space 6) seen at a place of the tangent plane (space 5), without air; null off the disc. */
export function skyToBody(frame: BodyFrame, place: SkyPoint): BodyPoint | null {
  requireFrame(frame);
  const axis = frame.axisPositionAngleDeg * DEG;
  const x = place.xArcsec / ARCSEC;
  const y = place.yArcsec / ARCSEC;
  const ratio = frame.distanceKm / frame.radiusKm;
  const slant = 1 + x * x + y * y;
  const inside = slant - ratio * ratio * (x * x + y * y);
  if (!(inside >= 0)) return null;
  const depth = (ratio - Math.sqrt(inside)) / slant;
  const right = depth * (x * Math.cos(axis) + y * Math.sin(axis));
  const up = depth * (y * Math.cos(axis) - x * Math.sin(axis));
  const near = ratio - depth;
  const centre = frame.subObserver.latitudeDeg * DEG;
  const level = near * Math.cos(centre) - up * Math.sin(centre);
  const point = toSphere([level, right, near * Math.sin(centre) + up * Math.cos(centre)]);
  const turned = positiveDeg(point.longitudeDeg + frame.subObserver.longitudeDeg + 180) - 180;
  return { longitudeDeg: turned, latitudeDeg: point.latitudeDeg };
}

/** Radius of the limb in the tangent plane (space 5), arcseconds. */
export function limbRadiusArcsec(frame: BodyFrame): number {
  requireFrame(frame);
  return ARCSEC * Math.tan(Math.asin(frame.radiusKm / frame.distanceKm));
}

/**
 * Altitude of the Sun's centre above the mean ground at a point of the body, degrees; on a sphere that is also how far
 * the terminator is, positive on the lit side. On the Sun itself 90.
 */
export function sunAltitudeAtDeg(frame: BodyFrame, point: BodyPoint): number {
  requirePoint(point);
  if (!frame.subSolar) return 90;
  const sun = fromSphere(frame.subSolar.longitudeDeg, frame.subSolar.latitudeDeg);
  return 90 - angleDeg(sun, fromSphere(point.longitudeDeg, point.latitudeDeg));
}

function requireFrame(frame: BodyFrame): void {
  requireRange('radiusKm', frame.radiusKm, Number.MIN_VALUE, 1e9);
  requireRange('distanceKm', frame.distanceKm, frame.radiusKm, 1e12);
}

function requirePoint(point: BodyPoint): void {
  requireRange('longitudeDeg', point.longitudeDeg, -360, 720);
  requireRange('latitudeDeg', point.latitudeDeg, -90, 90);
}
