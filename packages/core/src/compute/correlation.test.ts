import fc from 'fast-check';
import { expect, test } from 'vitest';
import { correlationFromSums } from './correlation.js';

function correlation(a: readonly number[], b: readonly number[]): number {
  const sum = (f: (i: number) => number): number => a.reduce((total, _, i) => total + f(i), 0);
  return correlationFromSums(
    a.length,
    sum((i) => a[i]!),
    sum((i) => b[i]!),
    sum((i) => a[i]! ** 2),
    sum((i) => b[i]! ** 2),
    sum((i) => a[i]! * b[i]!),
  );
}

test('is 1 for any rising line, -1 for any falling one', () => {
  const values = fc.array(fc.integer({ min: -50, max: 50 }), { minLength: 3, maxLength: 20 });
  fc.assert(
    fc.property(values, fc.integer({ min: 1, max: 9 }), fc.integer({ min: -9, max: 9 }), (a, slope, offset) => {
      fc.pre(new Set(a).size > 1);
      const line = a.map((v) => slope * v + offset);
      expect(correlation(a, line)).toBeCloseTo(1, 9);
      expect(
        correlation(
          a,
          line.map((v) => -v),
        ),
      ).toBeCloseTo(-1, 9);
    }),
    { seed: 4, numRuns: 100 },
  );
});

test('is 0 for what does not vary, for nothing at all, and for what is independent', () => {
  expect(correlation([1, 2, 3], [5, 5, 5])).toBe(0);
  expect(correlation([], [])).toBe(0);
  expect(correlation([-1, -1, 1, 1], [-1, 1, -1, 1])).toBe(0);
});
