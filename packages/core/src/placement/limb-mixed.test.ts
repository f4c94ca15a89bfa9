import { describe, expect, test } from 'vitest';
import { createRandom } from '../compute/random.js';
import { invertSymmetric } from '../compute/small-solve.js';
import { BLUR, type Block, blockOf, marginal, OFFSET, PARTS, SHADING } from './limb-blocks.js';
import { fieldOf, meansAt, sunwardsOf } from './limb-field.js';
import type { Place } from './limb-measure.js';
import { solveMixed } from './limb-mixed.js';
import { weightedProfiles } from './limb-noise.js';
import { firstSpread, respread, waveVariances } from './limb-spread.js';
import { linearised, unitSteps } from './step-profile.js';

const DISTANCE = Float64Array.from({ length: 80 }, (_, k) => -10 + k / 4);
const STEP = { sky: 0.1, step: 0.6, offset: 0.3, shading: 0.2, blur: 1.4 };

function profileOf(step: typeof STEP, noise: (lit: number) => number) {
  const shapes = unitSteps({ distance: DISTANCE, value: DISTANCE, count: DISTANCE }, step);
  const value = DISTANCE.map((_, k) => step.sky + step.step * shapes[3 * k]! + noise(shapes[3 * k]!));
  return { distance: DISTANCE, value, count: new Float64Array(DISTANCE.length).fill(4) };
}

function placesOf(count: number, profile: () => Place['profile']): Place[] {
  const { offset, blur, ...rest } = STEP;
  const fit = { ...rest, offsetPx: offset, blurPx: blur, variance: 0, noise: 1 };
  return Array.from({ length: count }, (_, index) => ({ index, angle: index / count, profile: profile(), fit }));
}

/** A positive definite matrix, or one of rank 3. */
function information(random: ReturnType<typeof createRandom>, rank: number): Float64Array {
  const h = new Float64Array(PARTS * PARTS);
  for (let r = 0; r < rank; r++) {
    const v = Array.from({ length: PARTS }, () => random.normal());
    for (let i = 0; i < PARTS * PARTS; i++) h[i]! += v[Math.floor(i / PARTS)]! * v[i % PARTS]!;
  }
  return h;
}

describe('marginal', () => {
  test('is the inverse of the summed covariances', () => {
    const random = createRandom('marginal');
    const h = information(random, 9);
    const scatter = Float64Array.of(0.5, 2, 1e6, 0, 0.1);
    const pull = Float64Array.from({ length: PARTS }, () => random.normal());
    const sum = invertSymmetric(h, PARTS)!.map((v, i) => v + (i % (PARTS + 1) === 0 ? scatter[i / (PARTS + 1)]! : 0));
    const expected = invertSymmetric(sum, PARTS)!;
    marginal({ information: h, pull }, scatter).information.forEach((v, i) => {
      expect(Math.abs(v - expected[i]!)).toBeLessThan(1e-7);
    });
  });

  test('a place that knows little stays usable', () => {
    const h = information(createRandom('rank'), 3);
    const { information: m } = marginal(
      { information: h, pull: new Float64Array(PARTS) },
      new Float64Array(PARTS).fill(1),
    );
    for (let i = 0; i < PARTS; i++) {
      expect(m[i * PARTS + i]!).toBeGreaterThanOrEqual(-1e-12);
      expect(m[i * PARTS + i]!).toBeLessThanOrEqual(1 + 1e-12);
    }
  });
});

test('the equations of a step are its derivatives', () => {
  const profile = profileOf({ ...STEP, offset: 0.1, sky: 0.12 }, () => 0);
  const names = ['sky', 'step', 'offset', 'shading', 'blur'] as const;
  const { right } = linearised(profile, STEP, PARTS);
  names.forEach((name, i) => {
    const h = 1e-3;
    const up = linearised(profile, { ...STEP, [name]: STEP[name] + h }, PARTS).chi;
    const down = linearised(profile, { ...STEP, [name]: STEP[name] - h }, PARTS).chi;
    // The table's derivatives are constant over its cells.
    expect(Math.abs((down - up) / (4 * h) - right[i]!)).toBeLessThan(0.02 * Math.abs(right[i]!) + 0.01);
  });
});

test.each([
  ['even', 0],
  ['rugged', 0.3],
])('the scatter of the shading along an %s limb is found', (_name, truth) => {
  const random = createRandom('scatter');
  const places = placesOf(150, () => profileOf({ ...STEP, shading: 0 }, () => 0));
  const field = fieldOf(places, { centreX: 0, centreY: 0, radiusPx: 500, stretch: 1 }, 3);
  const noise = 0.1;
  const parts = places.map((_, k) => {
    const own = Float64Array.from({ length: PARTS }, () => noise * random.normal());
    own[SHADING]! += 0.2 * Math.cos(k / 50) + truth * random.normal();
    return own;
  });
  const blocks: Block[] = parts.map((own) => ({
    information: Float64Array.from({ length: PARTS * PARTS }, (_, i) => (i % (PARTS + 1) === 0 ? noise ** -2 : 0)),
    pull: own.map((v) => v / noise ** 2),
  }));
  let spread = firstSpread(parts);
  let mixed = solveMixed(
    blocks,
    field,
    places.map(() => spread.scatter),
    waveVariances(spread, field),
  )!;
  for (let turn = 0; turn < 60; turn++) {
    const scatters = places.map((_, k) => spread.scatter.map((v, j) => (j === OFFSET ? 0 : v * spread.tails[k]![j]!)));
    mixed = solveMixed(blocks, field, scatters, waveVariances(spread, field))!;
    spread = respread(spread, mixed, field);
  }
  const found = Math.sqrt(spread.scatter[SHADING]!);
  // Student's t takes a Gaussian for one that is about a tenth narrower; noise of 0.1 hides a scatter of 0.05.
  if (truth > 0) expect(Math.abs(found / truth - 0.93)).toBeLessThan(0.12);
  else expect(found).toBeLessThan(0.05);
  expect(spread.scatter[BLUR]).toBe(0);
  // Nine waves in 150 places: 0.25 of what one place is off by; three times that at the ends.
  const limit = 0.75 * Math.hypot(truth, noise);
  places.forEach((_, k) => {
    expect(Math.abs(meansAt(field, k, mixed.solution)[SHADING]! - 0.2 * Math.cos(k / 50))).toBeLessThan(limit);
  });
});

test('sky and ground are weighted by their own noise', () => {
  const random = createRandom('noise');
  const places = placesOf(60, () => profileOf(STEP, (lit) => (lit > 0.5 ? 0.04 : 0.01) * random.normal()));
  const weights = weightedProfiles(places).map(({ count }) => count);
  // Four pixels each, whose mean scatters by 0.01 and 0.04: medians of 15 places with 30 bins each are good to 15 %.
  for (const w of weights) {
    expect(Math.abs(w[79]! / 1e4 - 1)).toBeLessThan(0.35);
    expect(Math.abs(w[0]! / (1 / 0.04 ** 2) - 1)).toBeLessThan(0.8);
    expect(w[79]! / w[0]!).toBeGreaterThan(8);
  }
});

test('a block is at rest where its profile was made', () => {
  const at = Float64Array.of(STEP.sky / 0.6, 1, STEP.offset, STEP.shading, Math.log(STEP.blur));
  const { information: h, pull } = blockOf(
    profileOf(STEP, () => 0),
    at,
    0.6,
  );
  for (let i = 0; i < PARTS; i++) {
    const sum = at.reduce((all, v, j) => all + h[i * PARTS + j]! * v, 0);
    expect(Math.abs(sum - pull[i]!)).toBeLessThan(1e-9 * Math.abs(sum) + 1e-9);
  }
});

test('the Sun is found from the trend of a shading that goes as the inverse of its height', () => {
  const places = placesOf(100, () => profileOf(STEP, () => 0));
  const disc = { centreX: 0, centreY: 0, radiusPx: 500, stretch: 1 };
  const shadingAt = (angle: number): number => 0.08 / Math.cos(angle - 0.8);
  const blocksFor = (shading: (angle: number) => number): Block[] =>
    places.map(({ angle }) => {
      const information = Float64Array.from({ length: PARTS ** 2 }, (_, i) => (i % (PARTS + 1) === 0 ? 1e4 : 0));
      return { information, pull: Float64Array.of(0, 1e4, 0, 1e4 * shading(angle), 0) };
    });
  const still = places.map(() => new Float64Array(PARTS));
  const solved = (shading: (angle: number) => number) => {
    const field = fieldOf(places, disc, 3);
    const wide = new Float64Array(field.unknowns).fill(1e3);
    return sunwardsOf(field, solveMixed(blocksFor(shading), field, still, wide)!);
  };
  // The trend is that of the first wave, whose slope in the middle is a little steeper.
  expect(Math.abs(solved(shadingAt)! - 0.8)).toBeLessThan(0.12);
  expect(solved(() => 0)).toBeUndefined();
  expect(solved(() => -0.1)).toBeUndefined();
  const shaped = fieldOf(places, disc, 3, 0.8);
  const ratio = (k: number): number => shaped.rows[k]![SHADING]![0]! / shadingAt(places[k]!.angle);
  for (let k = 0; k < places.length; k++) expect(Math.abs(ratio(k) / ratio(0) - 1)).toBeLessThan(1e-9);
});
