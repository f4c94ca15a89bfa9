import { describe, expect, it } from 'vitest';
import { createRandom } from '../compute/random.js';
import { craterProfile } from './crater-profile.js';
import { drawCraters, HIGHLAND_LAW, YOUNG_LAW } from './craters.js';
import { MOON_RADIUS_KM } from './sphere.js';

describe('drawCraters', () => {
  for (const [name, law] of [
    ['highland', HIGHLAND_LAW],
    ['young', YOUNG_LAW],
  ] as const) {
    it(`follows the cumulative law of the ${name} population`, () => {
      const craters = drawCraters(createRandom(4), { ...law, minKm: 6 });
      // The population reaches 0.06 radii behind the limb.
      const areaKm2 = 2 * Math.PI * MOON_RADIUS_KM ** 2 * 1.06;
      for (const diameterKm of [6, 9, 14, 25, 45]) {
        const expected = areaKm2 * law.densityPerKm2 * (diameterKm ** -law.slope - law.maxKm ** -law.slope);
        const counted = craters.filter((c) => c.diameterKm > diameterKm).length;
        // Four standard deviations of a Poisson count.
        expect(Math.abs(counted - expected), `${name} > ${diameterKm} km`).toBeLessThan(4 * Math.sqrt(expected));
      }
    });
  }

  it('keeps the large craters when smaller ones are asked for', () => {
    const coarse = drawCraters(createRandom(9), { ...HIGHLAND_LAW, minKm: 30 });
    const fine = drawCraters(createRandom(9), { ...HIGHLAND_LAW, minKm: 10 });
    expect(fine.length).toBeGreaterThan(4 * coarse.length);
    expect(fine.filter((c) => c.diameterKm >= 30)).toEqual(coarse);
  });

  it('gives the oldest first', () => {
    const craters = drawCraters(createRandom(2), { ...HIGHLAND_LAW, minKm: 20 });
    for (let k = 1; k < craters.length; k++) expect(craters[k]!.age).toBeLessThanOrEqual(craters[k - 1]!.age);
  });
});

describe('craterProfile', () => {
  it('has the depth and the rim of fresh craters and no step anywhere', () => {
    for (const diameterKm of [4, 12, 18, 40, 90]) {
      const profile = craterProfile(diameterKm, 0, 0.4);
      const floor = profile.heightKm(diameterKm < 16 ? 0 : 0.35, 0);
      const rim = profile.heightKm(1, 0);
      const depth = diameterKm < 16 ? 0.196 * diameterKm ** 1.01 : 1.044 * diameterKm ** 0.301;
      // The rim is rounded by 30 % of its height, up to 11 % of the depth.
      expect(Math.abs(rim - floor - depth) / depth, `${diameterKm} km`).toBeLessThan(0.12);
      let before = profile.heightKm(0, 0.1);
      for (let r = 0.001; r < profile.reach + 0.1; r += 0.001) {
        const here = profile.heightKm(r, 0.1);
        // Steepest walls rise by some depths per radius: 1/1000 of a radius changes less than 2 % of the depth.
        expect(Math.abs(here - before)).toBeLessThan(0.02 * depth);
        before = here;
      }
      expect(before).toBe(0);
    }
  });

  it('wears down', () => {
    const relief = [0, 0.5, 1].map((wear) => {
      const profile = craterProfile(30, wear, 0.9);
      return profile.heightKm(1, 0) - profile.heightKm(0.4, 0);
    });
    expect(relief[1]!).toBeLessThan(0.8 * relief[0]!);
    expect(relief[2]!).toBeLessThan(0.6 * relief[1]!);
    expect(relief[2]!).toBeGreaterThan(0);
  });
});
