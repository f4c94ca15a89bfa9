import { ARCSEC, addScaled, cross, DEG, dot, lengthOf, scaled, unit, type Vec3 } from './angles.js';
import { frameOf, hasFrame } from './orientation.js';
import { refractionArcmin, refractionSlope } from './refraction.js';
import {
  EARTH_SPIN,
  momentOf,
  positionAngleDeg,
  skyAxes,
  toHorizon,
  topocentricKm,
  topocentricKmPerS,
} from './topocentric.js';
import { type Air, requirePlace, type Site, type SkyBody } from './types.js';

/**
 * How a body moves before a camera that stands still. Space 5 here is the tangent plane at the place where the body is
 * seen; with air that plane is carried along the vertical, so that north keeps its angle to the zenith.
 */
export interface Drift {
  /** Velocity in space 5, arcseconds per second: diurnal and own motion, parallax and the change of refraction. */
  readonly westArcsecPerS: number;
  readonly northArcsecPerS: number;
  readonly speedArcsecPerS: number;
  /** Curvature of the path, radians per arcsecond of path, positive when it bends from west to north. */
  readonly curvaturePerArcsec: number;
  /** Turn of the sky's north in the frame, degrees per second, from north through east (anticlockwise on the sky). */
  readonly fieldRotationDegPerS: number;
  /** The same for the body's axis; null for planets, which are plain discs. */
  readonly bodyRotationDegPerS: number | null;
  /** Position angle of the zenith, degrees: the vertical along which `verticalScale` acts. */
  readonly parallacticAngleDeg: number;
  /** Seen over true size along the vertical and across it, at the body's centre; 1 without air. */
  readonly verticalScale: number;
  readonly horizontalScale: number;
  /** Change of `verticalScale` per second. */
  readonly verticalScalePerS: number;
}

/**
 * Drift, field rotation and change of scale for a camera that is locked off. Throws `UsageError` when the date, site or
 * air is out of range.
 */
export function drift(body: SkyBody, date: Date, site: Site, air?: Air): Drift {
  requirePlace(date, site, air);
  const here = motionOf(body, date, site, air);
  const before = motionOf(body, shifted(date, -STEP_S), site, air);
  const after = motionOf(body, shifted(date, STEP_S), site, air);
  const west = dot(here.velocity, here.west);
  const north = dot(here.velocity, here.north);
  const acceleration = scaled(addScaled(after.velocity, before.velocity, -1), 1 / (2 * STEP_S));
  const speed = Math.hypot(west, north);
  const bend = (west * dot(acceleration, here.north) - north * dot(acceleration, here.west)) / speed ** 3;
  const bodyTurn = hasFrame(body) ? axisTurnDegPerS(before.axisDeg, after.axisDeg) : null;
  return {
    westArcsecPerS: west * ARCSEC,
    northArcsecPerS: north * ARCSEC,
    speedArcsecPerS: speed * ARCSEC,
    curvaturePerArcsec: bend / ARCSEC,
    fieldRotationDegPerS: here.rotation / DEG,
    bodyRotationDegPerS: bodyTurn === null ? null : here.rotation / DEG + bodyTurn,
    parallacticAngleDeg: here.parallacticDeg,
    verticalScale: here.verticalScale,
    horizontalScale: here.horizontalScale,
    verticalScalePerS: (after.verticalScale - before.verticalScale) / (2 * STEP_S),
  };
}

/** Height of the arc of the path over a chord, arcseconds both; the sign is that of the curvature. */
export function sagittaArcsec(motion: Drift, chordArcsec: number): number {
  return (motion.curvaturePerArcsec * chordArcsec ** 2) / 8;
}

/** Half the interval over which slow changes are differenced, seconds. */
const STEP_S = 30;

/** Vectors along the horizon's east, north and up; radians and seconds. */
interface Motion {
  readonly velocity: Vec3;
  readonly west: Vec3;
  readonly north: Vec3;
  readonly rotation: number;
  readonly parallacticDeg: number;
  readonly axisDeg: number;
  readonly verticalScale: number;
  readonly horizontalScale: number;
}

function motionOf(body: SkyBody, date: Date, site: Site, air: Air | undefined): Motion {
  const moment = momentOf(date, site);
  const towards = topocentricKm(body, moment);
  const axes = skyAxes(towards);
  // Velocity of the direction in a frame that turns with the Earth.
  const kmPerS = topocentricKmPerS(body, moment);
  const across = addScaled(kmPerS, axes.direction, -dot(kmPerS, axes.direction));
  const still = scaled(across, 1 / lengthOf(towards));
  const turning = addScaled(still, cross([0, 0, 1], axes.direction), -EARTH_SPIN);
  const airless = -dot(turning, axes.east) * Math.tan(Math.asin(axes.direction[2]));
  // Along the vertical and across it, to the right as one faces the body.
  const direction = toHorizon(moment, axes.direction);
  const motion = toHorizon(moment, turning);
  const right = unit(cross(direction, [0, 0, 1]));
  const altitude = Math.asin(direction[2]);
  const azimuthRate = dot(motion, right) / Math.cos(altitude);
  const altitudeRate = motion[2] / Math.cos(altitude);
  const refraction = (refractionArcmin(altitude / DEG, air) / 60) * DEG;
  const verticalScale = 1 + refractionSlope(altitude / DEG, air);
  const seen = altitude + refraction;
  const level = cross([0, 0, 1], right);
  const upwards = addScaled(scaled([0, 0, 1], Math.cos(seen)), level, -Math.sin(seen));
  const parallacticDeg = positionAngleDeg(axes, moment.up);
  const q = parallacticDeg * DEG;
  return {
    velocity: addScaled(scaled(upwards, altitudeRate * verticalScale), right, azimuthRate * Math.cos(seen)),
    west: addScaled(scaled(right, Math.cos(q)), upwards, -Math.sin(q)),
    north: addScaled(scaled(right, Math.sin(q)), upwards, Math.cos(q)),
    rotation: airless + azimuthRate * (Math.sin(seen) - Math.sin(altitude)),
    parallacticDeg,
    axisDeg: hasFrame(body) ? frameOf(body, moment, towards).axisPositionAngleDeg : 0,
    verticalScale,
    horizontalScale: Math.cos(seen) / Math.cos(altitude),
  };
}

function axisTurnDegPerS(beforeDeg: number, afterDeg: number): number {
  return (((afterDeg - beforeDeg + 540) % 360) - 180) / (2 * STEP_S);
}

function shifted(date: Date, seconds: number): Date {
  return new Date(date.getTime() + 1000 * seconds);
}
