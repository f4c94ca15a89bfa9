import { UsageError } from '../job/errors.js';

/** The bodies whose place is known. The planets are plain discs. */
export const SKY_BODIES = [
  'Moon',
  'Sun',
  'Mercury',
  'Venus',
  'Mars',
  'Jupiter',
  'Saturn',
  'Uranus',
  'Neptune',
] as const;

/** One of {@link SKY_BODIES}. */
export type SkyBody = (typeof SKY_BODIES)[number];

/** Where the telescope stands. */
export interface Site {
  /** Geodetic latitude, degrees, north positive. */
  readonly latitudeDeg: number;
  /** Degrees, east positive. */
  readonly longitudeDeg: number;
  /** Height above the ellipsoid, metres; height above the sea will do. */
  readonly heightM: number;
}

/** The air at the telescope. Without it nothing is refracted. */
export interface Air {
  /** Pressure at the site itself, hPa, not reduced to the sea. */
  readonly pressureHpa: number;
  readonly temperatureC: number;
}

/** A point on a body, space 6: degrees, east and north positive. Longitudes of the Sun are Carrington's. */
export interface BodyPoint {
  readonly longitudeDeg: number;
  readonly latitudeDeg: number;
}

/** A point of the tangent plane at the body's centre, space 5: arcseconds, x to the west, y to the north. */
export interface SkyPoint {
  readonly xArcsec: number;
  readonly yArcsec: number;
}

/** The International Standard Atmosphere at a height in metres: what to take when nobody has read a barometer. */
export function standardAir(heightM: number): Air {
  requireRange('heightM', heightM, -500, 11_000);
  const temperatureC = 15 - 0.0065 * heightM;
  return { pressureHpa: 1013.25 * (1 - 2.25577e-5 * heightM) ** 5.25588, temperatureC };
}

/** Throws {@link UsageError} unless date, site and air can be what they say. */
export function requirePlace(date: Date, site: Site, air?: Air): void {
  requireDate(date);
  requireRange('latitudeDeg', site.latitudeDeg, -90, 90);
  requireRange('longitudeDeg', site.longitudeDeg, -360, 360);
  requireRange('heightM', site.heightM, -500, 11_000);
  if (air) requireAir(air);
}

/** Whether a date is one of the years 1900 to 2100, for which the ephemeris is good. */
export function isInEphemeris(date: Date): boolean {
  const year = date.getUTCFullYear();
  return year >= 1900 && year <= 2100;
}

/** Throws {@link UsageError} unless {@link isInEphemeris}. */
export function requireDate(date: Date): void {
  if (isInEphemeris(date)) return;
  const given = Number.isNaN(date.getTime()) ? 'no date at all' : date.toISOString();
  throw new UsageError(`the date is ${given}; give one of the years 1900 to 2100`);
}

/** Throws {@link UsageError} unless somebody could breathe this air. */
export function requireAir(air: Air): void {
  requireRange('pressureHpa', air.pressureHpa, 0, 1100);
  requireRange('temperatureC', air.temperatureC, -90, 60);
}

/** Throws {@link UsageError} unless `least <= value <= most`. */
export function requireRange(name: string, value: number, least: number, most: number): void {
  if (value >= least && value <= most) return;
  throw new UsageError(`${name} is ${value}; give a number from ${least} to ${most}`);
}
