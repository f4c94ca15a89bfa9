import { quantile } from '../compute/quantile.js';
import type { Place } from './limb-measure.js';
import { type RadialProfile, unitSteps } from './step-profile.js';

/**
 * The profiles of places with every pixel's inverse variance in place of its count. The scatter about the places' own
 * fits is taken apart into that of the sky and that of the ground, which photon noise and texture make larger, and each
 * is the median of neighbours.
 */
export function weightedProfiles(places: readonly Place[]): RadialProfile[] {
  const seen = places.map(scatterOf);
  const sky = smoothed(seen.map((s) => s.sky));
  const ground = smoothed(seen.map((s) => s.ground));
  return places.map(({ profile }, k) => {
    const { lit } = seen[k]!;
    const count = profile.count.map((n, i) => n / (sky[k]! + Math.max(0, ground[k]! - sky[k]!) * lit[i]! ** 2));
    return { ...profile, count };
  });
}

/** Places to either side that a median is taken over. */
const NEIGHBOURS = 7;
/** Shares of the step up to which a bin is sky, and from which on it is ground. */
const SKY_SHARE = 0.05;
const GROUND_SHARE = 0.7;
/** What a fit takes out of the scatter of sky and ground, bins. */
const SKY_FREEDOM = 1.5;
const GROUND_FREEDOM = 2.5;

/** Variance of a pixel in the sky and on the ground, and the share of the unshaded step at each bin. */
function scatterOf({ profile, fit }: Place): { sky: number; ground: number; lit: Float64Array } {
  const { offsetPx: offset, shading, blurPx: blur } = fit;
  const shapes = unitSteps(profile, { offset, shading, blur });
  const lit = unitSteps(profile, { offset, shading: 0, blur }).filter((_, i) => i % 3 === 0);
  const squares = [0, 0];
  const bins = [0, 0];
  for (let i = 0; i < lit.length; i++) {
    if (lit[i]! > SKY_SHARE && lit[i]! < GROUND_SHARE) continue;
    const side = lit[i]! <= SKY_SHARE ? 0 : 1;
    const miss = profile.value[i]! - fit.sky - fit.step * shapes[3 * i]!;
    squares[side]! += profile.count[i]! * miss * miss;
    bins[side]!++;
  }
  const variance = (side: number, freedom: number): number =>
    bins[side]! < LEAST_BINS ? fit.noise : squares[side]! / (bins[side]! - freedom);
  return { sky: variance(0, SKY_FREEDOM), ground: variance(1, GROUND_FREEDOM), lit };
}

/** With fewer the whole profile's scatter is taken. */
const LEAST_BINS = 8;

function smoothed(values: readonly number[]): number[] {
  return values.map((_, k) => quantile(values.slice(Math.max(0, k - NEIGHBOURS), k + NEIGHBOURS + 1), 0.5));
}
