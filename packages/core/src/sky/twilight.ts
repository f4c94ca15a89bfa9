import { horizontalOf } from './ephemeris.js';
import { momentOf, topocentricKm } from './topocentric.js';
import { requirePlace, requireRange, type Site } from './types.js';

/** How far the Sun is down: its upper limb up, its centre to 6, 12 or 18 degrees below the horizon, or lower. */
export type TwilightKind = 'day' | 'civil twilight' | 'nautical twilight' | 'astronomical twilight' | 'night';

/** The sky's light at a moment. */
export interface Twilight {
  readonly kind: TwilightKind;
  /** Of its centre, without air, degrees. */
  readonly sunAltitudeDeg: number;
  /**
   * How the clear moonless sky at the zenith changes, in stops (factors of two) per five minutes, negative at dusk; null
   * by day, 0 at night. Moonlight ends the change earlier.
   */
  readonly stopsPer5Min: number | null;
}

/** Kind of twilight at an altitude of the Sun's centre, without air, degrees. */
export function twilightKind(sunAltitudeDeg: number): TwilightKind {
  requireRange('sunAltitudeDeg', sunAltitudeDeg, -90, 90);
  if (sunAltitudeDeg > SUNSET_DEG) return 'day';
  if (sunAltitudeDeg > -6) return 'civil twilight';
  if (sunAltitudeDeg > -12) return 'nautical twilight';
  return sunAltitudeDeg > -18 ? 'astronomical twilight' : 'night';
}

/** The Sun's altitude, the kind of twilight and the sky's trend. Throws `UsageError` when date or site is out of range. */
export function twilight(date: Date, site: Site): Twilight {
  requirePlace(date, site);
  const sunAltitudeDeg = sunAltitudeAt(date, site);
  const kind = twilightKind(sunAltitudeDeg);
  if (kind === 'day') return { kind, sunAltitudeDeg, stopsPer5Min: null };
  if (kind === 'night') return { kind, sunAltitudeDeg, stopsPer5Min: 0 };
  const before = sunAltitudeAt(new Date(date.getTime() - HALF_MS), site);
  const after = sunAltitudeAt(new Date(date.getTime() + HALF_MS), site);
  const degreesPer5Min = ((after - before) * 300_000) / (2 * HALF_MS);
  return { kind, sunAltitudeDeg, stopsPer5Min: STOPS_PER_MAG * magnitudesPerDegree(sunAltitudeDeg) * degreesPer5Min };
}

/** Altitude of the Sun's centre without air, degrees. */
export function sunAltitudeAt(date: Date, site: Site): number {
  const moment = momentOf(date, site);
  return horizontalOf(moment, topocentricKm('Sun', moment)).altitudeDeg;
}

/** Upper limb on the horizon: 34' of refraction and 16' of radius. */
const SUNSET_DEG = -0.8333;
const HALF_MS = 30_000;
const STOPS_PER_MAG = 0.4 / Math.log10(2);

/**
 * Magnitudes by which the zenith sky brightens for each degree that the Sun climbs. From 5 to 18 degrees below the horizon
 * the slope of the parabola that Patat et al. 2006 (doi 10.1051/0004-6361:20064992) fitted to V; above it a line that gives
 * the known fall of daylight from 450 lx at sunset to 3.4 lx at the end of civil twilight.
 */
function magnitudesPerDegree(sunAltitudeDeg: number): number {
  const below = -sunAltitudeDeg - 5;
  return below >= 0 ? Math.max(0, 1.518 - 0.114 * below) : 1.518 + 0.24 * below;
}
