import type { CaptureSettings } from '../capture/settings-types.js';
import { ephemeris } from '../sky/ephemeris.js';
import { airOfSettings, siteOfSettings, skyBodyOf } from '../sky/place-settings.js';
import { apparentAltitudeDeg } from '../sky/refraction.js';

/** How long a body can still be shot from a site. */
export interface TimeLeft {
  readonly altitudeDeg: number;
  /** Below this the air spoils too much. */
  readonly leastAltitudeDeg: number;
  /** When it sinks below that, ISO 8601 in UTC; null when it is below already, or stays above for a day. */
  readonly untilUtc: string | null;
  readonly minutes: number | null;
}

/** Air of more than three and a half thicknesses leaves no detail. */
const LEAST_ALTITUDE_DEG = 15;
const MINUTE_MS = 60_000;
const MOST_MINUTES = 24 * 60;

/** The altitude of the settings' body at their site now, refraction included, and for how long it stays high enough; null without a site. */
export function timeLeft({ site, body = 'moon' }: CaptureSettings, now: Date): TimeLeft | null {
  const place = site ? siteOfSettings(site) : null;
  if (!site || !place) return null;
  const name = skyBodyOf(body)!;
  const air = airOfSettings(site);
  const altitudeAt = (minutes: number): number =>
    apparentAltitudeDeg(ephemeris(name, new Date(now.getTime() + minutes * MINUTE_MS), place).altitudeDeg, air);
  const altitudeDeg = altitudeAt(0);
  const known = { altitudeDeg, leastAltitudeDeg: LEAST_ALTITUDE_DEG };
  if (altitudeDeg < LEAST_ALTITUDE_DEG) return { ...known, untilUtc: null, minutes: null };
  for (let minutes = 1; minutes < MOST_MINUTES; minutes++) {
    if (altitudeAt(minutes) >= LEAST_ALTITUDE_DEG) continue;
    return { ...known, untilUtc: new Date(now.getTime() + minutes * MINUTE_MS).toISOString(), minutes };
  }
  return { ...known, untilUtc: null, minutes: null };
}
