import fc from 'fast-check';
import { expect, test } from 'vitest';
import { createRandom } from '../compute/random.js';
import { type Disc, type EdgePoint, fitDisc, outside } from './fit-disc.js';

function arc(
  disc: Disc,
  from: number,
  to: number,
  count: number,
  off: (k: number) => number,
  variance = 1,
): EdgePoint[] {
  return Array.from({ length: count }, (_, k) => {
    const angle = from + ((to - from) * (k + 0.5)) / count;
    const radius = disc.radiusPx + off(k);
    return {
      x: disc.centreX + radius * Math.cos(angle),
      y: disc.centreY + radius * disc.stretch * Math.sin(angle),
      variance,
    };
  });
}

test('exact points of any arc give the disc back', () => {
  const coordinate = fc.double({ min: -3000, max: 3000, noNaN: true });
  fc.assert(
    fc.property(
      coordinate,
      coordinate,
      fc.double({ min: 50, max: 8000, noNaN: true }),
      fc.double({ min: 0, max: 6, noNaN: true }),
      fc.double({ min: 0.7, max: 6.2, noNaN: true }),
      (centreX, centreY, radiusPx, from, extent) => {
        const disc = { centreX, centreY, radiusPx, stretch: 1 };
        const start = { centreX: centreX + 2, centreY: centreY - 1, radiusPx: radiusPx + 1, stretch: 1 };
        const fit = fitDisc(
          arc(disc, from, from + extent, 40, () => 0),
          start,
        )!;
        expect(Math.abs(fit.disc.centreX - centreX)).toBeLessThan(1e-3);
        expect(Math.abs(fit.disc.centreY - centreY)).toBeLessThan(1e-3);
        expect(Math.abs(fit.disc.radiusPx - radiusPx)).toBeLessThan(1e-3);
        expect(fit.rmsPx).toBeLessThan(1e-3);
      },
    ),
    { numRuns: 60, seed: 1 },
  );
});

test('a stretch is found when it is free', () => {
  const disc = { centreX: 10, centreY: 20, radiusPx: 600, stretch: 0.9985 };
  const fit = fitDisc(
    arc(disc, -1, 1.4, 60, () => 0),
    { ...disc, radiusPx: 602, stretch: 1 },
    { stretch: true },
  )!;
  expect(Math.abs(fit.disc.stretch - 0.9985)).toBeLessThan(1e-6);
  expect(fit.covariance).toHaveLength(16);
});

test('a quarter of wild points does not matter', () => {
  const disc = { centreX: 0, centreY: 0, radiusPx: 500, stretch: 1 };
  const random = createRandom('wild');
  const points = arc(disc, 0, 2, 100, (k) => (k % 4 === 0 ? -20 * random.uniform() - 3 : 0.1 * random.normal()), 0.01);
  const fit = fitDisc(points, disc)!;
  // Without outliers the standard deviation of the radius is 0.13 px.
  expect(Math.abs(fit.disc.radiusPx - 500)).toBeLessThan(0.5);
  expect(fit.weights.filter((_, k) => k % 4 === 0).every((w) => w < 0.05)).toBe(true);
});

test.each([
  ['independent', 0, 0.85, 1.25],
  ['correlated along the arc', 0.6, 0.7, 1.6],
])('the covariance predicts the errors: %s', (_name, memory, least, most) => {
  const disc = { centreX: 0, centreY: 0, radiusPx: 500, stretch: 1 };
  const random = createRandom('covariance');
  let sum = 0;
  const trials = 300;
  for (let trial = 0; trial < trials; trial++) {
    let error = random.normal();
    const off = (): number => {
      error = memory * error + Math.sqrt(1 - memory * memory) * random.normal();
      return 0.3 * error;
    };
    const fit = fitDisc(arc(disc, 0, 2, 120, off, 0.09), disc, { ordered: true })!;
    sum += (fit.disc.radiusPx - 500) ** 2 / fit.covariance[8]! / trials;
  }
  expect(sum).toBeGreaterThan(least);
  expect(sum).toBeLessThan(most);
});

test('too few points, or points on one spot, determine no disc', () => {
  const disc = { centreX: 0, centreY: 0, radiusPx: 5, stretch: 1 };
  expect(
    fitDisc(
      arc(disc, 0, 1, 3, () => 0),
      disc,
    ),
  ).toBeUndefined();
  expect(
    fitDisc(
      Array.from({ length: 9 }, () => ({ x: 5, y: 0, variance: 1 })),
      disc,
    ),
  ).toBeUndefined();
});

test('outside is positive beyond the edge', () => {
  const disc = { centreX: 1, centreY: 2, radiusPx: 5, stretch: 0.8 };
  expect(outside(disc, 8, 2)).toBeCloseTo(2, 12);
  expect(outside(disc, 1, 6)).toBeCloseTo(0, 12);
});
