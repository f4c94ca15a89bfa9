import { addScaled, cross, DEG, dot, lengthOf, positiveDeg, scaled, toSphere, type Vec3 } from './angles.js';
import type { BodyFrame } from './body-frame.js';
import { engine } from './engine.js';
import { geocentricKm, type Moment, positionAngleDeg, skyAxes } from './topocentric.js';
import type { BodyPoint, SkyBody } from './types.js';

/** Radii of the bodies' spheres, km: IAU 2015 (Archinal 2018, doi 10.1007/s10569-017-9805-5), of planets the equator's. */
export const RADIUS_KM: Readonly<Record<SkyBody, number>> = {
  Moon: 1737.4,
  Sun: 695_700,
  Mercury: 2440.53,
  Venus: 6051.8,
  Mars: 3396.19,
  Jupiter: 71_492,
  Saturn: 60_268,
  Uranus: 25_559,
  Neptune: 24_764,
};

/** Kilometres per second. */
const LIGHT = 299_792.458;

/** Axes of a body: its equator's prime meridian, 90° east of it, the north pole. Unit vectors of the frame of date. */
type BodyAxes = readonly [Vec3, Vec3, Vec3];

/**
 * The frame of the Moon or the Sun as seen from a site, given the vector to it (frame of date, km). The axes are the
 * IAU's of 2009 at the moment the light left: for the Moon mean Earth and rotation axis with thirteen periodic terms, that
 * is optical and physical libration together, true to about 0.01°; longitudes of the Sun are Carrington's.
 */
export function frameOf(body: 'Moon' | 'Sun', moment: Moment, towardsKm: Vec3): BodyFrame {
  const distanceKm = lengthOf(towardsKm);
  const axes = axesOf(body, moment, distanceKm);
  const subObserver = pointBelow(axes, scaled(towardsKm, -1));
  const axisPositionAngleDeg = positiveDeg(positionAngleDeg(skyAxes(towardsKm), axes[2]));
  const radiusKm = RADIUS_KM[body];
  if (body === 'Sun') {
    const carrington = { ...subObserver, longitudeDeg: positiveDeg(subObserver.longitudeDeg) };
    return { radiusKm, distanceKm, subObserver: carrington, subSolar: null, axisPositionAngleDeg };
  }
  const subSolar = pointBelow(axes, sunFrom(moment, towardsKm));
  return { radiusKm, distanceKm, subObserver, subSolar, axisPositionAngleDeg };
}

/** From a body, given as the vector from the site, to the Sun; frame of date, km. */
export function sunFrom(moment: Moment, towardsKm: Vec3): Vec3 {
  const sun = addScaled(geocentricKm('Sun', moment), moment.siteKm, -1);
  return addScaled(sun, towardsKm, -1);
}

/** Whether a body is one whose surface has a frame here. */
export function hasFrame(body: SkyBody): body is 'Moon' | 'Sun' {
  return body === 'Moon' || body === 'Sun';
}

function axesOf(body: 'Moon' | 'Sun', moment: Moment, distanceKm: number): BodyAxes {
  const left = moment.time.AddDays(-distanceKm / LIGHT / 86_400);
  const axis = engine.RotationAxis(engine.Body[body], left);
  const ascension = axis.ra * 15 * DEG;
  const pole: Vec3 = [axis.north.x, axis.north.y, axis.north.z];
  const node: Vec3 = [-Math.sin(ascension), Math.cos(ascension), 0];
  const spin = (axis.spin % 360) * DEG;
  const prime = addScaled(scaled(node, Math.cos(spin)), cross(pole, node), Math.sin(spin));
  return [ofDate(moment, prime), ofDate(moment, cross(pole, prime)), ofDate(moment, pole)];
}

function ofDate(moment: Moment, vector: Vec3): Vec3 {
  const given = new engine.Vector(vector[0], vector[1], vector[2], moment.time);
  const { x, y, z } = engine.RotateVector(moment.fromJ2000, given);
  return [x, y, z];
}

function pointBelow(axes: BodyAxes, towards: Vec3): BodyPoint {
  return toSphere([dot(towards, axes[0]), dot(towards, axes[1]), dot(towards, axes[2])]);
}
