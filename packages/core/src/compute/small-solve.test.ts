import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { invertSymmetric, solveInPlace } from './small-solve.js';

const PARAMETERS = { seed: 3, numRuns: 60 };
const entry = fc.double({ min: -1, max: 1, noNaN: true });
/** M·Mᵀ + I: positive definite, with eigenvalues from 1 to 1 + n². */
const systems = fc.integer({ min: 1, max: 6 }).chain((n) =>
  fc.record({
    n: fc.constant(n),
    m: fc.array(entry, { minLength: n * n, maxLength: n * n }),
    x: fc.array(entry, { minLength: n, maxLength: n }),
  }),
);

function definite(m: readonly number[], n: number): Float64Array {
  const a = new Float64Array(n * n);
  for (let i = 0; i < n; i++)
    for (let j = 0; j < n; j++)
      for (let k = 0; k < n; k++) a[i * n + j]! += m[i * n + k]! * m[j * n + k]! + (i === j ? 1 / n : 0);
  return a;
}

function times(a: Float64Array, x: ArrayLike<number>, n: number): Float64Array {
  return Float64Array.from({ length: n }, (_, i) => {
    let sum = 0;
    for (let j = 0; j < n; j++) sum += a[i * n + j]! * x[j]!;
    return sum;
  });
}

describe('solveInPlace', () => {
  it('finds the x that made b', () => {
    fc.assert(
      fc.property(systems, ({ n, m, x }) => {
        const a = definite(m, n);
        const b = times(a, x, n);
        expect(solveInPlace(a, b, n)).toBe(true);
        // Condition below 40: double rounding stays far under this.
        for (let i = 0; i < n; i++) expect(Math.abs(b[i]! - x[i]!)).toBeLessThan(1e-12);
      }),
      PARAMETERS,
    );
  });

  it('reads the lower half only', () => {
    const b = Float64Array.of(8, 7);
    expect(solveInPlace(Float64Array.of(4, 999, 2, 3), b, 2)).toBe(true);
    // 4x + 2y = 8, 2x + 3y = 7.
    expect(b[0]).toBeCloseTo(1.25, 14);
    expect(b[1]).toBeCloseTo(1.5, 14);
  });

  it.each([
    ['singular', [1, 2, 2, 4]],
    ['singular but for rounding', [1, 1, 1, 1 + 1e-14]],
    ['indefinite', [1, 2, 2, 1]],
    ['negative', [-1, 0, 0, 1]],
    ['empty of information', [0, 0, 0, 0]],
    ['not a number', [Number.NaN, 0, 0, 1]],
  ])('refuses a matrix that is %s', (_, a) => {
    expect(solveInPlace(Float64Array.from(a), Float64Array.of(1, 1), 2)).toBe(false);
    expect(invertSymmetric(Float64Array.from(a), 2)).toBeUndefined();
  });
});

describe('invertSymmetric', () => {
  it('times the matrix gives the identity, and its input stays as it was', () => {
    fc.assert(
      fc.property(systems, ({ n, m }) => {
        const a = definite(m, n);
        const before = a.slice();
        const inverse = invertSymmetric(a, n)!;
        expect(a).toEqual(before);
        for (let j = 0; j < n; j++) {
          const column = Float64Array.from({ length: n }, (_, i) => inverse[i * n + j]!);
          const product = times(a, column, n);
          for (let i = 0; i < n; i++) expect(Math.abs(product[i]! - (i === j ? 1 : 0))).toBeLessThan(1e-12);
        }
      }),
      PARAMETERS,
    );
  });
});
