import { DEG } from './angles.js';
import { type Air, requireAir, requireRange } from './types.js';

/**
 * Refraction in arcminutes at a true altitude (without air) in degrees. Sæmundsson 1986 with the term that makes it
 * vanish at the zenith (Meeus, Astronomical Algorithms, ch. 16), scaled to the air. True to 0.07' at 10 °C and
 * 1010 hPa above the horizon; more than 1° below it the value fades to nothing at the nadir. Without air 0.
 */
export function refractionArcmin(altitudeDeg: number, air: Air | undefined): number {
  requireRange('altitudeDeg', altitudeDeg, -90, 90);
  if (!air) return 0;
  requireAir(air);
  return airFactor(air) * standard(altitudeDeg);
}

/** Apparent altitude (with air) of a true one, degrees. */
export function apparentAltitudeDeg(altitudeDeg: number, air: Air | undefined): number {
  return altitudeDeg + refractionArcmin(altitudeDeg, air) / 60;
}

/** True altitude of an apparent one, degrees: the exact inverse of {@link apparentAltitudeDeg}, by Newton's method. */
export function trueAltitudeDeg(apparentDeg: number, air: Air | undefined): number {
  requireRange('apparentDeg', apparentDeg, -90, 90);
  let altitude = apparentDeg;
  for (let round = 0; round < 20; round++) {
    const step = (apparentAltitudeDeg(altitude, air) - apparentDeg) / (1 + refractionSlope(altitude, air));
    altitude = Math.max(-90, Math.min(90, altitude - step));
    if (Math.abs(step) < 1e-14) break;
  }
  return altitude;
}

/** Change of refraction with true altitude, degrees per degree (negative: the disc is flattened by this share). */
export function refractionSlope(altitudeDeg: number, air: Air | undefined): number {
  requireRange('altitudeDeg', altitudeDeg, -90, 90);
  if (!air) return 0;
  return (airFactor(air) * standardSlope(altitudeDeg)) / 60;
}

/** By how much air flattens a disc: refraction of the lower limb minus that of the upper one, arcseconds. */
export function flatteningArcsec(altitudeDeg: number, diameterArcsec: number, air: Air | undefined): number {
  const radiusDeg = diameterArcsec / 7200;
  const lower = refractionArcmin(altitudeDeg - radiusDeg, air);
  return 60 * (lower - refractionArcmin(altitudeDeg + radiusDeg, air));
}

/** Below this true altitude the formula means nothing any more, degrees. */
const LOWEST_DEG = -1;

function standard(altitudeDeg: number): number {
  const h = Math.max(LOWEST_DEG, altitudeDeg);
  const inner = h + 10.3 / (h + 5.11);
  const value = 1.02 / Math.tan(inner * DEG) + 0.0019279;
  return altitudeDeg < LOWEST_DEG ? (value * (altitudeDeg + 90)) / (LOWEST_DEG + 90) : value;
}

/** Derivative of {@link standard}, arcminutes per degree. */
function standardSlope(altitudeDeg: number): number {
  if (altitudeDeg < LOWEST_DEG) return standard(LOWEST_DEG) / (LOWEST_DEG + 90);
  const inner = altitudeDeg + 10.3 / (altitudeDeg + 5.11);
  return ((-1.02 * DEG) / Math.sin(inner * DEG) ** 2) * (1 - 10.3 / (altitudeDeg + 5.11) ** 2);
}

function airFactor(air: Air): number {
  return (air.pressureHpa / 1010) * (283 / (273 + air.temperatureC));
}
