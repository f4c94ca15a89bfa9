import { ARCSEC, angleDeg, DEG, lengthOf, positiveDeg, signedDeg, toSphere, type Vec3 } from './angles.js';
import type { BodyFrame } from './body-frame.js';
import { frameOf, hasFrame, RADIUS_KM, sunFrom } from './orientation.js';
import { apparentAltitudeDeg } from './refraction.js';
import { type Moment, momentOf, positionAngleDeg, skyAxes, toHorizon, topocentricKm } from './topocentric.js';
import { type Air, requirePlace, type Site, type SkyBody } from './types.js';

/** A body as seen from a site at a moment; everything topocentric, angles in degrees where no other unit is named. */
export interface Ephemeris {
  readonly body: SkyBody;
  /** Apparent place, true equator and equinox of date, without air. Right ascension 0 to 360. */
  readonly rightAscensionDeg: number;
  readonly declinationDeg: number;
  /** From north through east, 0 to 360. */
  readonly azimuthDeg: number;
  /** Without air. */
  readonly altitudeDeg: number;
  /** Raised by refraction; the same as `altitudeDeg` when no air is given. */
  readonly apparentAltitudeDeg: number;
  /** Centre to site. */
  readonly distanceKm: number;
  /** Across the limb, without air; of planets along the equator. */
  readonly angularDiameterArcsec: number;
  /** Position angle of the zenith, from north through east, -180 to 180. */
  readonly parallacticAngleDeg: number;
  /** Between centres. */
  readonly sunSeparationDeg: number;
  readonly sunAltitudeDeg: number;
  readonly sunAzimuthDeg: number;
  /** Angle at the body from the Sun to the observer, 0 when full; null for the Sun. */
  readonly phaseAngleDeg: number | null;
  /** Lit share of the disc's area, 0 to 1; null for the Sun. */
  readonly illuminatedFraction: number | null;
  /** Position angle of the middle of the bright limb, from north through east, 0 to 360; null for the Sun. */
  readonly brightLimbPositionAngleDeg: number | null;
  /** Libration, axis and distance of the Moon or the Sun; null for planets, which are plain discs. */
  readonly frame: BodyFrame | null;
  /** Of the Moon; null for others. */
  readonly terminator: Terminator | null;
}

/** Where the Sun rises and sets on the Moon. */
export interface Terminator {
  /** Selenographic colongitude of the Sun, 0 to 360: about 0 at first quarter, 90 when full. */
  readonly colongitudeDeg: number;
  /** Selenographic longitude at which the Sun rises on the equator, -180 to 180; east positive. */
  readonly morningLongitudeDeg: number;
  readonly eveningLongitudeDeg: number;
}

/**
 * Where a body stands and how it looks from a site. The Moon is good to 5" in position (20" from 2025 to 2050, where the
 * Earth's rotation is a forecast), 0.02 % in distance and 0.03° in libration; a planet to 30". Takes UT1 for the same as
 * the date's UTC: they differ by less than 0.9 s.
 * Throws `UsageError` when the date, site or air is out of range.
 */
export function ephemeris(body: SkyBody, date: Date, site: Site, air?: Air): Ephemeris {
  requirePlace(date, site, air);
  const moment = momentOf(date, site);
  const towards = topocentricKm(body, moment);
  const axes = skyAxes(towards);
  const equatorial = toSphere(towards);
  const horizontal = horizontalOf(moment, towards);
  const sun = body === 'Sun' ? towards : topocentricKm('Sun', moment);
  const sunHorizontal = horizontalOf(moment, sun);
  const distanceKm = lengthOf(towards);
  const frame = hasFrame(body) ? frameOf(body, moment, towards) : null;
  return {
    body,
    rightAscensionDeg: positiveDeg(equatorial.longitudeDeg),
    declinationDeg: equatorial.latitudeDeg,
    ...horizontal,
    apparentAltitudeDeg: apparentAltitudeDeg(horizontal.altitudeDeg, air),
    distanceKm,
    angularDiameterArcsec: 2 * ARCSEC * Math.asin(RADIUS_KM[body] / distanceKm),
    parallacticAngleDeg: positionAngleDeg(axes, moment.up),
    sunSeparationDeg: body === 'Sun' ? 0 : angleDeg(towards, sun),
    sunAltitudeDeg: sunHorizontal.altitudeDeg,
    sunAzimuthDeg: sunHorizontal.azimuthDeg,
    ...lightOf(body, moment, towards),
    frame,
    terminator: frame?.subSolar ? terminatorOf(frame.subSolar.longitudeDeg) : null,
  };
}

/** Altitude (without air) and azimuth of a vector of date. */
export function horizontalOf(moment: Moment, towards: Vec3): { altitudeDeg: number; azimuthDeg: number } {
  const [east, north, up] = toHorizon(moment, towards);
  return {
    altitudeDeg: Math.atan2(up, Math.hypot(east, north)) / DEG,
    azimuthDeg: positiveDeg(Math.atan2(east, north) / DEG),
  };
}

function lightOf(
  body: SkyBody,
  moment: Moment,
  towards: Vec3,
): Pick<Ephemeris, 'phaseAngleDeg' | 'illuminatedFraction' | 'brightLimbPositionAngleDeg'> {
  if (body === 'Sun') return { phaseAngleDeg: null, illuminatedFraction: null, brightLimbPositionAngleDeg: null };
  const sunwards = sunFrom(moment, towards);
  const phaseAngleDeg = 180 - angleDeg(towards, sunwards);
  return {
    phaseAngleDeg,
    illuminatedFraction: Math.cos((phaseAngleDeg * DEG) / 2) ** 2,
    brightLimbPositionAngleDeg: positiveDeg(positionAngleDeg(skyAxes(towards), sunwards)),
  };
}

function terminatorOf(subSolarLongitudeDeg: number): Terminator {
  return {
    colongitudeDeg: positiveDeg(90 - subSolarLongitudeDeg),
    morningLongitudeDeg: signedDeg(subSolarLongitudeDeg - 90),
    eveningLongitudeDeg: signedDeg(subSolarLongitudeDeg + 90),
  };
}
