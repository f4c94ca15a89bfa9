import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { DESCRIPTOR_LENGTH, type Descriptor } from '../compute/descriptor.js';
import { createRandom, type Random } from '../compute/random.js';
import { type FeaturePair, isTurnWithin, pairFeatures, type SearchRanges, votes } from './pair-search-vote.js';

const ANY: SearchRanges = { rotationDeg: 'any', scale: [0.3, 3] };

interface Truth {
  readonly scale: number;
  readonly turnRad: number;
  readonly tx: number;
  readonly ty: number;
}

/** A pair that obeys the truth to `missPx`, with size and direction off as single features are. */
function rightPair(truth: Truth, random: Random, missPx: number): FeaturePair {
  const fromX = 800 * random.uniform();
  const fromY = 600 * random.uniform();
  const a = truth.scale * Math.cos(truth.turnRad);
  const b = truth.scale * Math.sin(truth.turnRad);
  return {
    fromX,
    fromY,
    toX: a * fromX - b * fromY + truth.tx + missPx * random.normal(),
    toY: b * fromX + a * fromY + truth.ty + missPx * random.normal(),
    logScale: Math.log(truth.scale) + 0.08 * random.normal(),
    turnRad: truth.turnRad + 0.07 * random.normal(),
    ratio: 0.5 + 0.3 * random.uniform(),
  };
}

function wrongPair(random: Random): FeaturePair {
  return {
    fromX: 800 * random.uniform(),
    fromY: 600 * random.uniform(),
    toX: 800 * random.uniform(),
    toY: 600 * random.uniform(),
    logScale: 2 * random.uniform() - 1,
    turnRad: 2 * Math.PI * random.uniform(),
    ratio: 0.85 + 0.07 * random.uniform(),
  };
}

function pairsOf(truth: Truth, right: number, wrong: number, random: Random): FeaturePair[] {
  const rights = Array.from({ length: right }, () => rightPair(truth, random, 0.5));
  return [...rights, ...Array.from({ length: wrong }, () => wrongPair(random))];
}

describe('votes', () => {
  it('finds 12 right pairs among 400 under any turn and scale', () => {
    const truths = fc.record({
      scale: fc.double({ min: 0.35, max: 2.8, noNaN: true }),
      turnRad: fc.double({ min: -Math.PI, max: Math.PI, noNaN: true }),
      tx: fc.integer({ min: -500, max: 500 }),
      ty: fc.integer({ min: -500, max: 500 }),
      seed: fc.integer({ min: 0, max: 1e6 }),
    });
    fc.assert(
      fc.property(truths, ({ seed, ...truth }) => {
        const { map } = votes(pairsOf(truth, 12, 400, createRandom(seed)), ANY, 4)[0]!;
        // 12 places good to 0.5 px, spread over 800 px: the scale is known to 0.001, with room for a wrong pair that fits.
        expect(Math.abs(Math.hypot(map.a, map.b) / truth.scale - 1)).toBeLessThan(0.02);
        expect(isTurnWithin(Math.atan2(map.b, map.a) - truth.turnRad, [0, 0], 0.02)).toBe(true);
      }),
      { seed: 7, numRuns: 40 },
    );
  });

  it('takes no collapse of the scale, which agrees with every place and with no size', () => {
    const random = createRandom('collapse');
    const pairs = Array.from({ length: 200 }, () => ({ ...wrongPair(random), toX: 300, toY: 200 }));
    for (const { map } of votes(pairs, ANY, 4)) expect(Math.hypot(map.a, map.b)).toBeGreaterThan(0.28);
    // All those pairs lead to one place, so whatever they agree on weighs no more than a single one of them.
    for (const { weight } of votes(pairs, ANY, 4)) expect(weight).toBeLessThan(1);
  });

  it('keeps to the ranges', () => {
    const pairs = pairsOf({ scale: 2, turnRad: 1, tx: 10, ty: 20 }, 30, 0, createRandom('ranges'));
    expect(votes(pairs, ANY, 4)).toHaveLength(1);
    expect(votes(pairs, { rotationDeg: [50, 65], scale: [1.9, 2.1] }, 4)).toHaveLength(1);
    expect(votes(pairs, { rotationDeg: [-10, 10], scale: [1.9, 2.1] }, 4)).toEqual([]);
    expect(votes(pairs, { rotationDeg: 'any', scale: [0.5, 1.5] }, 4)).toEqual([]);
  });

  it('finds nothing in fewer than two places', () => {
    const pair = rightPair({ scale: 1, turnRad: 0, tx: 0, ty: 0 }, createRandom('one'), 0);
    expect(votes([], ANY, 4)).toEqual([]);
    expect(votes([pair, { ...pair, turnRad: 0.01 }], ANY, 4)).toEqual([]);
  });
});

describe('pairFeatures', () => {
  const feature = (seed: string, parts: Partial<Descriptor> = {}): Descriptor => {
    const random = createRandom(seed);
    const values = Float32Array.from({ length: DESCRIPTOR_LENGTH }, () => random.uniform());
    const norm = Math.hypot(...values);
    return { x: 5, y: 6, sigmaPx: 2, angleRad: 0, values: values.map((v) => v / norm), ...parts };
  };

  it('pairs the alike and states what they say of the pose', () => {
    const fixed = [feature('a', { x: 50, sigmaPx: 4, angleRad: 1.5 }), feature('b', { x: 90, sigmaPx: 4 })];
    const [pair, ...rest] = pairFeatures(fixed, [feature('a', { angleRad: 0.5 })], ANY);
    expect(rest).toEqual([]);
    expect(pair).toMatchObject({ fromX: 5, fromY: 6, toX: 50, toY: 6 });
    expect(pair!.logScale).toBeCloseTo(Math.log(2), 12);
    expect(pair!.turnRad).toBeCloseTo(1, 12);
    expect(pair!.ratio).toBeLessThan(0.01);
  });

  it('leaves out sizes and turns beyond the ranges, and what two features claim alike', () => {
    const moving = [feature('a')];
    expect(pairFeatures([feature('a', { sigmaPx: 20 })], moving, ANY)).toEqual([]);
    expect(pairFeatures([feature('a', { angleRad: 2 })], moving, { ...ANY, rotationDeg: [-5, 5] })).toEqual([]);
    expect(pairFeatures([feature('a'), feature('a', { x: 90 })], moving, ANY)).toEqual([]);
    expect(pairFeatures([feature('a'), feature('b', { x: 90 })], moving, ANY)).toHaveLength(1);
    expect(pairFeatures([], moving, ANY)).toEqual([]);
  });
});

describe('isTurnWithin', () => {
  it('does not mind whole turns', () => {
    const degrees = fc.integer({ min: -180, max: 180 });
    fc.assert(
      fc.property(degrees, degrees, fc.integer({ min: -3, max: 3 }), (middle, off, whole) => {
        const turnRad = ((middle + off + 360 * whole) * Math.PI) / 180;
        expect(isTurnWithin(turnRad, [middle - 20.5, middle + 20.5], 0)).toBe(Math.abs(off) <= 20);
        expect(isTurnWithin(turnRad, 'any', 0)).toBe(true);
      }),
      { seed: 3 },
    );
  });
});
