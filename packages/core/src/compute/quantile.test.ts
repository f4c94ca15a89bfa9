import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { quantile } from './quantile.js';

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
