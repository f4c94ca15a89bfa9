import { expect, test } from 'vitest';
import { halfBits } from './half.js';

/** By the definition: IEEE 754-2019, table 3.5. */
function value(half: number): number {
  const [exponent, fraction] = [(half >> 10) & 31, half & 1023];
  const size = exponent === 0 ? fraction * 2 ** -24 : (1 + fraction / 1024) * 2 ** (exponent - 15);
  return half & 0x8000 ? -size : size;
}

test('every finite half comes back from its own value', () => {
  for (let half = 0; half < 0x7c00; half++) {
    expect(halfBits(value(half))).toBe(half);
    expect(halfBits(-value(half))).toBe(half | 0x8000);
  }
});

test('between two halves the nearer one is taken, in the middle the even one', () => {
  for (let half = 0; half < 0x7bff; half += 7) {
    const [low, high] = [value(half), value(half + 1)];
    const middle = (low + high) / 2;
    expect(halfBits(middle)).toBe(half + (half & 1));
    expect(halfBits(Math.fround(middle - (high - low) / 64))).toBe(half);
    expect(halfBits(Math.fround(middle + (high - low) / 64))).toBe(half + 1);
  }
});

test('what is too large becomes the largest, and what is no number stays that', () => {
  expect([1e6, 65520, Number.POSITIVE_INFINITY].map(halfBits)).toEqual([0x7bff, 0x7bff, 0x7bff]);
  expect(halfBits(Number.NEGATIVE_INFINITY)).toBe(0xfbff);
  expect(halfBits(Number.NaN) & 0x7fff).toBeGreaterThan(0x7c00);
});
