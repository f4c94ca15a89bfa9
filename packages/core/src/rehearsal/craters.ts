import type { Random } from '../compute/random.js';
import { smoothstep } from './noise.js';
import { MOON_RADIUS_KM, randomDirection, type Vector } from './sphere.js';

/** One impact crater. */
export interface Crater {
  readonly centre: Vector;
  readonly diameterKm: number;
  /** 0 = crisp, 1 = worn away. */
  readonly wear: number;
  /** Sorting key: larger is older. */
  readonly age: number;
  /** Own seed in [0, 1), for the shape of its rim. */
  readonly trait: number;
}

/** A population of craters by its cumulative law N(>D) = density * (D / 1 km)^-slope per square km. */
export interface PopulationLaw {
  readonly densityPerKm2: number;
  readonly slope: number;
  /** Smallest and largest diameter in km. */
  readonly minKm: number;
  readonly maxKm: number;
  /** Range of wear, drawn evenly; the smaller the crater the sooner it wears. */
  readonly wear: readonly [number, number];
}

/** The old highlands: N(>20 km) of about 220 per million square km, near the equilibrium law of slope 2. */
export const HIGHLAND_LAW: Omit<PopulationLaw, 'minKm'> = {
  densityPerKm2: 0.062,
  slope: 1.88,
  maxKm: 230,
  wear: [0.08, 0.9],
};

/** What fell after the maria were flooded: sparse, and crisp. */
export const YOUNG_LAW: Omit<PopulationLaw, 'minKm'> = { densityPerKm2: 0.006, slope: 2.25, maxKm: 95, wear: [0, 0.3] };

/** Craters are drawn down to this far behind the limb, so that rims on it are complete. */
const MIN_Z = -0.06;

/**
 * Draws a population on the visible side, oldest first. Every octave of diameters has its own random source, so a
 * scene drawn larger shows the same large craters and adds small ones.
 */
export function drawCraters(random: Random, law: PopulationLaw): Crater[] {
  const areaKm2 = 2 * Math.PI * MOON_RADIUS_KM * MOON_RADIUS_KM * (1 - MIN_Z);
  const craters: Crater[] = [];
  for (let octave = 0, upper = law.maxKm; upper > law.minKm; octave++, upper /= 2) {
    const lower = upper / 2;
    const source = random.fork(`octave-${octave}`);
    const more = law.densityPerKm2 * lower ** -law.slope;
    const fewer = law.densityPerKm2 * upper ** -law.slope;
    const count = source.poisson(areaKm2 * (more - fewer));
    for (let k = 0; k < count; k++) {
      const crater = drawOne(source, law, more, fewer);
      if (crater.diameterKm >= law.minKm) craters.push(crater);
    }
  }
  return craters.sort((a, b) => b.age - a.age);
}

function drawOne(source: Random, law: PopulationLaw, more: number, fewer: number): Crater {
  const centre = randomDirection(source, MIN_Z);
  const cumulative = fewer + (more - fewer) * source.uniform();
  const diameterKm = (cumulative / law.densityPerKm2) ** (-1 / law.slope);
  const wear =
    law.wear[0] + (law.wear[1] - law.wear[0]) * source.uniform() ** (0.4 + 0.4 * smoothstep(5, 40, diameterKm));
  // Large ones tend to be older than what lies on them, worn ones older than crisp ones.
  const age = Math.log(diameterKm) + 1.4 * wear + 0.5 * source.normal();
  return { centre, diameterKm, wear, age, trait: source.uniform() };
}
