import { positiveDeg, signedDeg, toSphere, type Vec3 } from './angles.js';
import { engine } from './engine.js';
import { requireDate } from './types.js';

/** Names of the Moon's phases, in their order. */
export const PHASE_NAMES = [
  'new moon',
  'waxing crescent',
  'first quarter',
  'waxing gibbous',
  'full moon',
  'waning gibbous',
  'last quarter',
  'waning crescent',
] as const;

/** One of {@link PHASE_NAMES}. */
export type PhaseName = (typeof PHASE_NAMES)[number];

/** The Moon's phase as seen from the Earth's centre. */
export interface MoonPhase {
  /** Ecliptic longitude of the Moon minus that of the Sun, 0 to 360: 0 new, 90 first quarter, 180 full. */
  readonly elongationDeg: number;
  /** New, full and the quarters are called so for half a day before and after. */
  readonly name: PhaseName;
  /** Days since the last new moon. */
  readonly ageDays: number;
}

/** The Moon's phase, its name and age at a date. Throws `UsageError` when the date is out of range. */
export function moonPhase(date: Date): MoonPhase {
  requireDate(date);
  const now = engine.MakeTime(date).ut;
  const elongation = elongationAt(now);
  let newMoon = now - elongation / MEAN_DEG_PER_DAY;
  for (let round = 0; round < ROUNDS; round++) newMoon -= signedDeg(elongationAt(newMoon)) / MEAN_DEG_PER_DAY;
  return { elongationDeg: elongation, name: phaseName(elongation), ageDays: now - newMoon };
}

/** Ecliptic longitude of the Moon minus that of the Sun from the Earth's centre, as they appear, 0 to 360 degrees. */
export function elongationDeg(date: Date): number {
  return elongationAt(engine.MakeTime(date).ut);
}

/** Name of the phase at an elongation in degrees, 0 to 360. */
export function phaseName(elongationDeg: number): PhaseName {
  const quarter = Math.round(elongationDeg / 90);
  const near = Math.abs(elongationDeg - 90 * quarter) <= HALF_DAY_DEG;
  return PHASE_NAMES[near ? (2 * quarter) % 8 : 2 * Math.floor(elongationDeg / 90) + 1]!;
}

/** Mean growth of the elongation. */
const MEAN_DEG_PER_DAY = 12.190749;
const HALF_DAY_DEG = MEAN_DEG_PER_DAY / 2;
/** The true growth differs from the mean by up to a quarter: each round leaves a quarter of the error at most. */
const ROUNDS = 16;

/** Apparent ecliptic longitude of the Moon minus that of the Sun at a count of days since 2000; 0 to 360. */
function elongationAt(ut: number): number {
  const time = new engine.AstroTime(ut);
  const toEcliptic = engine.Rotation_EQJ_ECT(time);
  const [moon, sun] = [engine.Body.Moon, engine.Body.Sun].map((body) => {
    const { x, y, z } = engine.RotateVector(toEcliptic, engine.GeoVector(body, time, true));
    return toSphere([x, y, z] satisfies Vec3).longitudeDeg;
  });
  return positiveDeg(moon! - sun!);
}
