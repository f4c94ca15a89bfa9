import { describe, expect, it } from 'vitest';
import { LAGRANGE_PHASES, LAGRANGE_WEIGHTS } from './lagrange.js';
import { LANCZOS_PHASES, LANCZOS_WEIGHTS } from './lanczos.js';

/** Error of a table's sums over (k − φ)^power, which should be 0 (1 for power 0). */
function worstMoment(weights: Float64Array, phases: number, power: number): number {
  let worst = 0;
  for (let phase = 0; phase <= phases; phase++) {
    let sum = power === 0 ? -1 : 0;
    for (let tap = 0; tap < 6; tap++) sum += weights[6 * phase + tap]! * (tap - 2 - phase / phases) ** power;
    worst = Math.max(worst, Math.abs(sum));
  }
  return worst;
}

describe('weights of fifth degree', () => {
  it('keep polynomials up to the fifth degree what they are', () => {
    for (let power = 0; power <= 5; power++) {
      expect(worstMoment(LAGRANGE_WEIGHTS, LAGRANGE_PHASES, power)).toBeLessThan(1e-12);
    }
    expect(worstMoment(LAGRANGE_WEIGHTS, LAGRANGE_PHASES, 6)).toBeGreaterThan(1);
  });

  it('put a ramp where it is, which Lanczos’s do not', () => {
    expect(worstMoment(LANCZOS_WEIGHTS, LANCZOS_PHASES, 1)).toBeGreaterThan(0.005);
  });

  it('give pixels themselves at whole positions', () => {
    expect([...LAGRANGE_WEIGHTS.subarray(0, 6)].map(Math.abs)).toEqual([0, 0, 1, 0, 0, 0]);
    expect([...LAGRANGE_WEIGHTS.subarray(6 * LAGRANGE_PHASES)].map(Math.abs)).toEqual([0, 0, 0, 1, 0, 0]);
  });
});
