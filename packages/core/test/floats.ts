import { expect } from 'vitest';

/**
 * Expects samples to agree, each within `tolerance` (default: exactly), and names the first that does not. Much faster
 * than comparing arrays item by item with `toEqual`.
 */
export function expectSamples(actual: ArrayLike<number>, expected: ArrayLike<number>, tolerance = 0): void {
  expect(actual.length).toBe(expected.length);
  for (let i = 0; i < expected.length; i++) {
    if (Math.abs(actual[i]! - expected[i]!) <= tolerance) continue;
    expect.fail(`sample ${i} is ${actual[i]}, expected ${expected[i]} within ${tolerance}`);
  }
}
