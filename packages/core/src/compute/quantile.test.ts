import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { quantile, valueAtRank } from './quantile.js';
import { createRandom } from './random.js';

describe('quantile', () => {
  it('interpolates between order statistics and leaves the list alone', () => {
    const values = [4, 1, 3, 2];
    expect(quantile(values, 0)).toBe(1);
    expect(quantile(values, 1)).toBe(4);
    expect(quantile(values, 0.5)).toBe(2.5);
    expect(quantile(values, 0.1)).toBeCloseTo(1.3, 12);
    expect(values).toEqual([4, 1, 3, 2]);
    expect(quantile(Float32Array.of(2, -1, 0.5), 0.5)).toBe(0.5);
  });

  it('sorts by value, not by text, and takes q beyond 0 and 1 as the ends', () => {
    expect(quantile([10, 9, 100], 0.5)).toBe(10);
    expect(quantile([10, 9, 100], 7)).toBe(100);
    expect(quantile([10, 9, 100], -7)).toBe(9);
  });

  it('is NaN for an empty list', () => {
    expect(quantile([], 0.5)).toBeNaN();
  });

  it('is bit for bit what sorting all values gives, in any order and with many alike', () => {
    const sizes = fc.integer({ min: 1, max: 3000 });
    const kinds = fc.constantFrom('rising', 'falling', 'organ pipes', 'few', 'any', 'some no numbers');
    fc.assert(
      fc.property(sizes, kinds, fc.double({ min: 0, max: 1, noNaN: true }), fc.integer(), (size, kind, q, seed) => {
        const random = createRandom(seed);
        const valueAt = {
          rising: (i: number) => i,
          falling: (i: number) => -i,
          'organ pipes': (i: number) => Math.min(i, size - i),
          few: () => Math.floor(3 * random.uniform()),
          any: () => random.normal(),
          'some no numbers': () => (random.uniform() < 0.1 ? Number.NaN : random.normal()),
        }[kind];
        const list = Array.from({ length: size }, (_, i) => valueAt(i));
        for (const values of [Float64Array.from(list), Float32Array.from(list)]) {
          const sorted = values.slice().sort();
          const below = Math.floor(q * (size - 1));
          const [low, high] = [sorted[below]!, sorted[Math.min(size - 1, below + 1)]!];
          expect(quantile(values, q)).toBe(low + (q * (size - 1) - below) * (high - low));
          expect(valueAtRank(values.slice(), below)).toBe(low);
        }
      }),
      { seed: 5, numRuns: 300 },
    );
  });

  it('rises with q and stays within the values', () => {
    const values = fc.array(fc.double({ min: -1e6, max: 1e6, noNaN: true }), { minLength: 1, maxLength: 30 });
    const share = fc.double({ min: 0, max: 1, noNaN: true });
    fc.assert(
      fc.property(values, share, share, (list, p, q) => {
        const [low, high] = [quantile(list, Math.min(p, q)), quantile(list, Math.max(p, q))];
        expect(low).toBeLessThanOrEqual(high + 1e-9);
        expect(low).toBeGreaterThanOrEqual(Math.min(...list) - 1e-9);
        expect(high).toBeLessThanOrEqual(Math.max(...list) + 1e-9);
      }),
      { seed: 3, numRuns: 100 },
    );
  });
});
