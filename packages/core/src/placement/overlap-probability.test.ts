import { expect, test } from 'vitest';
import { overlapProbability } from './overlap-probability.js';

test('takes overlaps for true by their correlation and by how much ground agrees', () => {
  expect(overlapProbability(0.35, 200)).toBeLessThan(0.2);
  expect(overlapProbability(0.7, 200)).toBeGreaterThan(0.9);
  expect(overlapProbability(0.73, 13)).toBeLessThan(0.7);
  expect(overlapProbability(0.95, 13)).toBeGreaterThan(0.9);
  expect(overlapProbability(Number.NaN, 200)).toBe(0);
});
