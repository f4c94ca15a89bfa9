import type { AstroTime, Observer, RotationMatrix, Vector } from 'astronomy-engine';
import { addScaled, cross, DEG, dot, scaled, unit, type Vec3 } from './angles.js';
import { engine } from './engine.js';
import type { Site, SkyBody } from './types.js';

/** Rotation of the Earth, radians per second of UT1 (IERS). */
export const EARTH_SPIN = 7.292115e-5;

/** A site at a moment. Vectors are in the frame of the true equator and equinox of date; kilometres, seconds. */
export interface Moment {
  readonly time: AstroTime;
  readonly observer: Observer;
  /** The horizon's axes. */
  readonly east: Vec3;
  readonly north: Vec3;
  readonly up: Vec3;
  /** Turns vectors of J2000 into the frame of date. */
  readonly fromJ2000: RotationMatrix;
  /** From the Earth's centre. */
  readonly siteKm: Vec3;
}

/** Axes at a direction of the sky: unit vectors, the direction itself, to the east and to the north. */
export interface SkyAxes {
  readonly direction: Vec3;
  readonly east: Vec3;
  readonly north: Vec3;
}

export function momentOf(date: Date, site: Site): Moment {
  const time = engine.MakeTime(date);
  const observer = new engine.Observer(site.latitudeDeg, site.longitudeDeg, site.heightM);
  const sidereal = (15 * engine.SiderealTime(time) + site.longitudeDeg) * DEG;
  const latitude = site.latitudeDeg * DEG;
  const level = Math.cos(latitude);
  const up: Vec3 = [level * Math.cos(sidereal), level * Math.sin(sidereal), Math.sin(latitude)];
  const east: Vec3 = [-Math.sin(sidereal), Math.cos(sidereal), 0];
  const siteKm = kilometres(engine.ObserverVector(time, observer, true));
  const fromJ2000 = engine.Rotation_EQJ_EQD(time);
  return { time, observer, east, north: cross(up, east), up, fromJ2000, siteKm };
}

/**
 * From the Earth's centre to the body as it appears: light time and the aberration of the year are in it, refraction
 * and the aberration of the day (0.3") are not. Frame of date, km.
 */
export function geocentricKm(body: SkyBody, moment: Moment): Vec3 {
  const vector = engine.GeoVector(engine.Body[body], moment.time, true);
  return kilometres(engine.RotateVector(moment.fromJ2000, vector));
}

/** From the site to the body as it appears, without air. Frame of date, km. */
export function topocentricKm(body: SkyBody, moment: Moment): Vec3 {
  return addScaled(geocentricKm(body, moment), moment.siteKm, -1);
}

/** Velocity of the body against the site in a frame that does not turn with the Earth, km/s, axes of date. */
export function topocentricKmPerS(body: SkyBody, moment: Moment): Vec3 {
  const { time } = moment;
  const site = engine.ObserverState(time, moment.observer, false);
  const own = body === 'Moon' ? engine.GeoMoonState(time) : engine.HelioState(engine.Body[body], time);
  const earth = body === 'Moon' ? { vx: 0, vy: 0, vz: 0 } : engine.HelioState(engine.Body.Earth, time);
  const vector = new engine.Vector(
    own.vx - earth.vx - site.vx,
    own.vy - earth.vy - site.vy,
    own.vz - earth.vz - site.vz,
    time,
  );
  return scaled(kilometres(engine.RotateVector(moment.fromJ2000, vector)), 1 / 86_400);
}

/** East and north at a direction of the frame of date. */
export function skyAxes(towards: Vec3): SkyAxes {
  const direction = unit(towards);
  const east = unit(cross([0, 0, 1], direction));
  return { direction, east, north: cross(direction, east) };
}

/** Position angle of a vector as projected on the sky: degrees from north through east, -180 to 180. */
export function positionAngleDeg(axes: SkyAxes, vector: Vec3): number {
  return Math.atan2(dot(vector, axes.east), dot(vector, axes.north)) / DEG;
}

/** Components of a vector of date along the horizon's east, north and up. */
export function toHorizon(moment: Moment, vector: Vec3): Vec3 {
  return [dot(vector, moment.east), dot(vector, moment.north), dot(vector, moment.up)];
}

export function kilometres({ x, y, z }: Vector): Vec3 {
  return scaled([x, y, z], engine.KM_PER_AU);
}
