import { angleDeg, cross, DEG, dot, fromSphere, positiveDeg, unit } from './angles.js';
import { horizontalOf } from './ephemeris.js';
import { momentOf, topocentricKm } from './topocentric.js';
import { requirePlace, requireRange, type Site, type SkyBody } from './types.js';

/** A direction over the horizon, degrees; azimuth from north through east. */
export interface Aim {
  readonly azimuthDeg: number;
  readonly altitudeDeg: number;
}

/** Why care is needed: the Sun itself is the aim, it is over the horizon, or within 30 degrees of the aim. */
export type SunCause = 'SUN_IS_AIM' | 'SUN_IS_UP' | 'SUN_IS_NEAR';

/** What has to be done. */
export type SunCautionCode = 'SOLAR_FILTER' | 'FINDER_CAPPED' | 'NEVER_UNATTENDED' | 'SWEEP_AWAY';

/** What to mind about the Sun; `cautions` is empty when there is nothing to mind. */
export interface SunCaution {
  readonly causes: readonly SunCause[];
  readonly cautions: readonly { readonly code: SunCautionCode; readonly text: string }[];
  /** Of the Sun's centre, without air. */
  readonly sunAltitudeDeg: number;
  /** Angle from the aim to the Sun. */
  readonly sunSeparationDeg: number;
  /**
   * Direction in which the aim moves straight away from the Sun: degrees clockwise from up as one faces the aim, 0 to 360.
   */
  readonly awayFromSunDeg: number;
}

/**
 * What to mind about the Sun before optics are pointed at an aim: a body, or a direction. Never point optics at or near
 * the Sun without a certified full-aperture filter. Throws `UsageError` when date, site or aim is out of range.
 */
export function sunCaution(date: Date, site: Site, aim: SkyBody | Aim): SunCaution {
  requirePlace(date, site);
  const moment = momentOf(date, site);
  const sun = horizontalOf(moment, topocentricKm('Sun', moment));
  const place = typeof aim === 'string' ? horizontalOf(moment, topocentricKm(aim, moment)) : aim;
  requireRange('azimuthDeg', place.azimuthDeg, -360, 360);
  requireRange('altitudeDeg', place.altitudeDeg, -90, 90);
  // Azimuth runs clockwise: as a longitude it is negative.
  const towards = fromSphere(-place.azimuthDeg, place.altitudeDeg);
  const sunwards = fromSphere(-sun.azimuthDeg, sun.altitudeDeg);
  const sunSeparationDeg = angleDeg(towards, sunwards);
  const causes: SunCause[] = [];
  if (aim === 'Sun') causes.push('SUN_IS_AIM');
  // From a height one looks over the horizon by 1.76' √h.
  if (sun.altitudeDeg > SUNRISE_DEG - 0.0293 * Math.sqrt(Math.max(0, site.heightM))) causes.push('SUN_IS_UP');
  if (sunSeparationDeg <= NEAR_DEG) causes.push('SUN_IS_NEAR');
  const right = unit(cross(towards, fromSphere(-place.azimuthDeg, place.altitudeDeg + 90)));
  const up = cross(right, towards);
  const awayFromSunDeg = positiveDeg(Math.atan2(-dot(sunwards, right), -dot(sunwards, up)) / DEG);
  return {
    causes,
    cautions: causes.length === 0 ? [] : cautionsFor(aim === 'Sun', sunSeparationDeg, awayFromSunDeg),
    sunAltitudeDeg: sun.altitudeDeg,
    sunSeparationDeg,
    awayFromSunDeg,
  };
}

/** Upper limb on the level horizon, a quarter of a degree early. */
const SUNRISE_DEG = -1.1;
const NEAR_DEG = 30;
const DIRECTIONS = ['up', 'up and right', 'right', 'down and right', 'down', 'down and left', 'left', 'up and left'];

function cautionsFor(atSun: boolean, separationDeg: number, awayDeg: number): SunCaution['cautions'] {
  const filter = atSun
    ? 'Fix a certified full-aperture solar filter in front of the optics before they point at the Sun, and leave it there until they point away.'
    : 'Keep a certified full-aperture solar filter in front of the optics for every move; take it off only once they stand still on an aim away from the Sun.';
  const away = DIRECTIONS[Math.round(awayDeg / 45) % 8];
  const sweep = atSun
    ? 'Come to the Sun with the filter on and by the shadow of the tube, never by looking along it; when done, sweep away from the Sun before the filter comes off.'
    : `The Sun stands ${Math.round(separationDeg)}° from the aim. Sweep away from it: facing the aim, ${away}; never across the Sun.`;
  return [
    { code: 'SOLAR_FILTER', text: filter },
    {
      code: 'FINDER_CAPPED',
      text: 'Cap the finder, guide scope and every other optics, or filter them in the same way.',
    },
    {
      code: 'NEVER_UNATTENDED',
      text: 'Never leave the telescope unattended: the sky turns 15° an hour, and people will look into it.',
    },
    { code: 'SWEEP_AWAY', text: sweep },
  ];
}
