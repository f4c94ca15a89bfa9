import { UsageError } from '../job/errors.js';
import { positiveDeg, signedDeg } from './angles.js';
import { sunAltitudeAtDeg } from './body-frame.js';
import type { Ephemeris } from './ephemeris.js';
import { elongationDeg } from './phase.js';
import { type BodyPoint, requireRange, type SkyBody } from './types.js';

/** Part of a circle, degrees, from one angle up to another; it may pass 360. */
export interface AngleRange {
  readonly fromDeg: number;
  readonly toDeg: number;
}

/** What is wished for; what is left out does not matter. */
export interface SkyWish {
  /** Least altitude of the Moon, without air. */
  readonly leastAltitudeDeg?: number;
  /** Elongation as in {@link moonPhase}: 0 new, 90 first quarter, 180 full. */
  readonly elongation?: AngleRange;
  /** Selenographic colongitude of the Sun. */
  readonly colongitude?: AngleRange;
  /** A point of the Moon that shall lie in the light within so many degrees of the terminator: where shadows are long. */
  readonly nearTerminator?: { readonly name: string; readonly point: BodyPoint; readonly withinDeg: number };
  /** The Sun's upper limb down and its centre above -18 degrees, or below that. */
  readonly sky?: 'twilight' | 'dark';
}

/** What a condition is about. */
export type ConditionKind = 'altitude' | 'sky' | 'elongation' | 'colongitude' | 'feature';

/** One condition of a wish. */
export interface Condition {
  readonly kind: ConditionKind;
  /** What is wished for, in plain words. */
  readonly wished: string;
  /** By how many degrees it holds (0 or more) or is missed (negative). */
  readonly marginDeg: (body: Ephemeris, date: Date) => number;
  /** No margin changes faster than this. */
  readonly fastestDegPerHour: number;
  /** What a moment offers, in plain words with its figure, whether it holds or not. */
  readonly figure: (body: Ephemeris, date: Date) => string;
  /** Why a moment is good, in plain words with its figure. */
  readonly reason: (body: Ephemeris, date: Date) => string;
}

/**
 * The conditions of a wish about a body; of others than the Moon altitude and sky alone. Throws `UsageError` when there are
 * none, or one cannot be.
 */
export function conditionsOf(wish: SkyWish, body: SkyBody = 'Moon'): readonly Condition[] {
  const conditions: Condition[] = [];
  const { leastAltitudeDeg, elongation, colongitude, nearTerminator, sky } = wish;
  if (leastAltitudeDeg !== undefined) conditions.push(altitudeAtLeast(leastAltitudeDeg, body));
  if (sky !== undefined) conditions.push(skyIs(sky));
  if (elongation) conditions.push(within('elongation', elongation, (_, date) => elongationDeg(date)));
  if (colongitude) conditions.push(within('colongitude', colongitude, (moon) => moon.terminator!.colongitudeDeg));
  if (nearTerminator) conditions.push(terminatorNear(nearTerminator));
  if (conditions.length > 0) return conditions;
  throw new UsageError('the wish is empty; give at least one of its conditions, such as leastAltitudeDeg');
}

/** Faster than any body climbs: the sky's 15.04 degrees an hour, the Moon's own motion and parallax. */
const CLIMB = 16;
/** Faster than the Sun moves over the Moon (0.51), or the Moon from the Sun (0.63). */
const MONTHLY = 0.8;
const SUNSET_DEG = -0.8333;
const DARK_DEG = -18;

function altitudeAtLeast(leastDeg: number, body: SkyBody): Condition {
  requireRange('leastAltitudeDeg', leastDeg, -90, 90);
  const name = body === 'Moon' || body === 'Sun' ? `the ${body}` : body;
  return {
    kind: 'altitude',
    wished: `${name} at least ${leastDeg}° high`,
    marginDeg: ({ altitudeDeg }) => altitudeDeg - leastDeg,
    fastestDegPerHour: CLIMB,
    figure: ({ altitudeDeg }) => `${name} ${fromLevel(altitudeDeg, 'high', 'below the horizon')}`,
    reason: ({ altitudeDeg }) => `${name} stands ${Math.round(altitudeDeg)}° high`,
  };
}

function skyIs(sky: 'twilight' | 'dark'): Condition {
  if (sky !== 'twilight' && sky !== 'dark') throw new UsageError(`sky is ${sky}; give "twilight" or "dark"`);
  return {
    kind: 'sky',
    wished:
      sky === 'dark' ? `a dark sky, the Sun ${-DARK_DEG}° down or more` : `twilight, the Sun 1 to ${-DARK_DEG}° down`,
    marginDeg: ({ sunAltitudeDeg: sun }) =>
      sky === 'dark' ? DARK_DEG - sun : Math.min(SUNSET_DEG - sun, sun - DARK_DEG),
    fastestDegPerHour: CLIMB,
    figure: ({ sunAltitudeDeg }) => `the Sun ${fromLevel(sunAltitudeDeg, 'up', 'down')}`,
    reason: ({ sunAltitudeDeg }) =>
      `${sky === 'dark' ? 'dark sky' : 'twilight'}, the Sun ${Math.round(-sunAltitudeDeg)}° down`,
  };
}

function within(
  kind: 'elongation' | 'colongitude',
  range: AngleRange,
  value: (moon: Ephemeris, date: Date) => number,
): Condition {
  requireRange(`${kind}.fromDeg`, range.fromDeg, -360, 720);
  requireRange(`${kind}.toDeg`, range.toDeg, -360, 720);
  const half = positiveDeg(range.toDeg - range.fromDeg) / 2;
  const figure = (moon: Ephemeris, date: Date): string => `${kind} ${value(moon, date).toFixed(1)}°`;
  return {
    kind,
    wished: `${kind} ${short(range.fromDeg)} to ${short(range.toDeg)}°`,
    marginDeg: (moon, date) => half - Math.abs(signedDeg(value(moon, date) - range.fromDeg - half)),
    fastestDegPerHour: MONTHLY,
    figure,
    reason: figure,
  };
}

function terminatorNear({ name, point, withinDeg }: NonNullable<SkyWish['nearTerminator']>): Condition {
  requireRange('withinDeg', withinDeg, 0, 90);
  const sun = (moon: Ephemeris) => sunAltitudeAtDeg(moon.frame!, point);
  return {
    kind: 'feature',
    wished: `the Sun 0 to ${short(withinDeg)}° above the horizon of ${name}`,
    marginDeg: (moon) => withinDeg / 2 - Math.abs(sun(moon) - withinDeg / 2),
    fastestDegPerHour: MONTHLY,
    figure: (moon) => `the Sun ${fromLevel(sun(moon), 'above', 'below')} the horizon of ${name}`,
    reason: (moon) => `the Sun ${sun(moon).toFixed(1)}° above the horizon of ${name}`,
  };
}

function fromLevel(deg: number, above: string, below: string): string {
  return `${Math.abs(deg).toFixed(1)}° ${deg < 0 ? below : above}`;
}

function short(deg: number): string {
  return String(Math.round(deg * 10) / 10);
}
