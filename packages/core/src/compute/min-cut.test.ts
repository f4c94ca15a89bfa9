import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { minCut } from './min-cut.js';
import { createRandom } from './random.js';

function costOf(
  labels: ArrayLike<number>,
  width: number,
  bias: Float64Array,
  across: Float64Array,
  down: Float64Array,
): number {
  let cost = 0;
  for (let i = 0; i < labels.length; i++) {
    cost += labels[i] === 1 ? Math.max(0, bias[i]!) : Math.max(0, -bias[i]!);
    if ((i + 1) % width !== 0 && labels[i] !== labels[i + 1]) cost += across[i]!;
    if (i + width < labels.length && labels[i] !== labels[i + width]) cost += down[i]!;
  }
  return cost;
}

describe('minCut', () => {
  it('finds the least cost of all labellings', () => {
    fc.assert(
      fc.property(
        fc.integer(),
        fc.integer({ min: 1, max: 4 }),
        fc.integer({ min: 1, max: 3 }),
        (seed, width, height) => {
          const random = createRandom(seed);
          const n = width * height;
          const draw = (scale: number, from = 0): Float64Array =>
            Float64Array.from({ length: n }, () => Math.round(scale * (random.uniform() + from)));
          const [bias, across, down] = [draw(12, -0.5), draw(5), draw(5)];
          const found = costOf(minCut(width, height, bias, across, down), width, bias, across, down);
          let least = Number.POSITIVE_INFINITY;
          for (let code = 0; code < 2 ** n; code++) {
            const labels = Array.from({ length: n }, (_, i) => (code >> i) & 1);
            least = Math.min(least, costOf(labels, width, bias, across, down));
          }
          expect(found).toBeCloseTo(least, 9);
        },
      ),
      { seed: 3, numRuns: 150 },
    );
  });

  it('leads the cut through the cheap place, between forced ends', () => {
    const [width, height] = [40, 30];
    const gap = (y: number): number => 12 + Math.round(6 * Math.sin(y / 5));
    const bias = Float64Array.from({ length: width * height }, (_, i) =>
      i % width === 0 ? Number.POSITIVE_INFINITY : i % width === width - 1 ? Number.NEGATIVE_INFINITY : 0,
    );
    const across = bias.map((_, i) => (i % width === gap(Math.floor(i / width)) ? 0.01 : 1));
    const labels = minCut(
      width,
      height,
      bias,
      across,
      bias.map(() => 0.001),
    );
    labels.forEach((l, i) => {
      expect(l).toBe(i % width > gap(Math.floor(i / width)) ? 1 : 0);
    });
  });
});
