import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { createRandom, type Random } from './random.js';
import { findSimilarity, fitSimilarityRobust } from './robust-similarity.js';
import {
  fitAffine,
  fitSimilarity,
  invertSimilarity,
  type PointPair,
  type Similarity,
  similarityResidual,
} from './similarity.js';

function pairsOf(map: Similarity, count: number, noisePx: number, random: Random): PointPair[] {
  return Array.from({ length: count }, () => {
    const fromX = 1000 * random.uniform();
    const fromY = 1000 * random.uniform();
    return {
      fromX,
      fromY,
      toX: map.a * fromX - map.b * fromY + map.tx + noisePx * random.normal(),
      toY: map.b * fromX + map.a * fromY + map.ty + noisePx * random.normal(),
    };
  });
}

function wrongPairs(count: number, random: Random): PointPair[] {
  const place = (): number => 1000 * random.uniform();
  return Array.from({ length: count }, () => ({ fromX: place(), fromY: place(), toX: place(), toY: place() }));
}

const maps = fc.record({
  a: fc.double({ min: -3, max: 3, noNaN: true }),
  b: fc.double({ min: 0.2, max: 3, noNaN: true }),
  tx: fc.double({ min: -500, max: 500, noNaN: true }),
  ty: fc.double({ min: -500, max: 500, noNaN: true }),
});
const PARAMETERS = { seed: 11, numRuns: 40 };

/** Farthest that the two maps carry a corner of the square of 1000 px apart. */
function apart(p: Similarity, q: Similarity): number {
  const corners = [0, 1000].flatMap((x) => [0, 1000].map((y) => ({ x, y })));
  return Math.max(
    ...corners.map(({ x, y }) => {
      const toX = q.a * x - q.b * y + q.tx;
      const toY = q.b * x + q.a * y + q.ty;
      return similarityResidual(p, { fromX: x, fromY: y, toX, toY });
    }),
  );
}

describe('fitSimilarity and fitAffine', () => {
  it('give back the map that made exact pairs', () => {
    fc.assert(
      fc.property(maps, fc.integer({ min: 3, max: 30 }), (map, count) => {
        const pairs = pairsOf(map, count, 0, createRandom(count));
        expect(apart(fitSimilarity(pairs), map)).toBeLessThan(1e-6);
        const affine = fitAffine(pairs);
        expect(Math.abs(affine.xx - map.a)).toBeLessThan(1e-6);
        expect(Math.abs(affine.xy + map.b)).toBeLessThan(1e-6);
        expect(Math.abs(affine.yx - map.b)).toBeLessThan(1e-6);
        expect(Math.abs(affine.yy - map.a)).toBeLessThan(1e-6);
        expect(Math.abs(affine.tx - map.tx)).toBeLessThan(1e-3);
        expect(Math.abs(affine.ty - map.ty)).toBeLessThan(1e-3);
      }),
      PARAMETERS,
    );
  });

  it('leave out pairs of weight 0', () => {
    const map = { a: 0.8, b: -0.3, tx: 12, ty: -7 };
    const random = createRandom('weights');
    const pairs = [...pairsOf(map, 8, 0, random), ...wrongPairs(5, random)];
    const weights = pairs.map((_, i) => (i < 8 ? 2 : 0));
    expect(apart(fitSimilarity(pairs, weights), map)).toBeLessThan(1e-9);
    expect(Math.abs(fitAffine(pairs, weights).xx - 0.8)).toBeLessThan(1e-9);
  });

  it('take the least squares: a residual at right angles to every change of the map', () => {
    const random = createRandom('least squares');
    const pairs = pairsOf({ a: 1.1, b: 0.2, tx: 3, ty: 4 }, 20, 5, random);
    const square = (map: Similarity): number => pairs.reduce((sum, p) => sum + similarityResidual(map, p) ** 2, 0);
    const best = fitSimilarity(pairs);
    for (const [key, step] of [
      ['a', 1e-3],
      ['b', 1e-3],
      ['tx', 0.1],
      ['ty', 0.1],
    ] as const) {
      expect(square({ ...best, [key]: best[key] + step })).toBeGreaterThan(square(best));
      expect(square({ ...best, [key]: best[key] - step })).toBeGreaterThan(square(best));
    }
  });

  it('refuse points that do not settle the map', () => {
    const one = { fromX: 5, fromY: 5, toX: 1, toY: 1 };
    expect(() => fitSimilarity([one, one])).toThrow('a similarity needs two different points');
    expect(() => fitSimilarity([])).toThrow(RangeError);
    const line = [0, 1, 2, 3].map((i) => ({ fromX: i, fromY: 2 * i, toX: i, toY: i }));
    expect(() => fitAffine(line)).toThrow('three points that are not in one line');
  });
});

describe('invertSimilarity', () => {
  it('undoes the map', () => {
    fc.assert(
      fc.property(maps, (map) => {
        expect(apart(invertSimilarity(invertSimilarity(map)), map)).toBeLessThan(1e-6);
        const pairs = pairsOf(map, 5, 0, createRandom('undo'));
        const back = invertSimilarity(map);
        for (const { fromX, fromY, toX, toY } of pairs) {
          const pair = { fromX: toX, fromY: toY, toX: fromX, toY: fromY };
          expect(similarityResidual(back, pair)).toBeLessThan(1e-6);
        }
      }),
      PARAMETERS,
    );
  });

  it('refuses a scale of 0', () => {
    expect(() => invertSimilarity({ a: 0, b: 0, tx: 1, ty: 1 })).toThrow('scale 0');
  });
});

describe('fits that withstand wrong pairs', () => {
  const map = { a: -0.9, b: 0.5, tx: 900, ty: 100 };

  it('fitSimilarityRobust: two of five wrong', () => {
    const random = createRandom('two of five');
    const pairs = [...pairsOf(map, 36, 0.3, random), ...wrongPairs(24, random)];
    const fit = fitSimilarityRobust(pairs);
    // 36 pairs of 0.3 px: about 0.1 px at the corners; the plain fit is out by hundreds.
    expect(apart(fit.map, map)).toBeLessThan(0.5);
    expect(fit.inliers.every((i) => i < 36)).toBe(true);
    expect(fit.inliers.length).toBeGreaterThan(30);
    expect(apart(fitSimilarity(pairs), map)).toBeGreaterThan(50);
  });

  it('findSimilarity: nineteen of twenty wrong', () => {
    const random = createRandom('one of twenty');
    const pairs = [...wrongPairs(380, random), ...pairsOf(map, 20, 0.5, random)];
    const fit = findSimilarity(pairs, 3, 0.1, 10)!;
    expect(apart(fit.map, map)).toBeLessThan(1.5);
    expect(fit.inliers.filter((i) => i >= 380).length).toBe(20);
  });

  it('findSimilarity: nothing agrees within the scales allowed', () => {
    const pairs = pairsOf(map, 12, 0, createRandom('scales'));
    expect(findSimilarity(pairs, 3, 2, 10)).toBeUndefined();
    expect(findSimilarity([], 3, 0.1, 10)).toBeUndefined();
  });
});
