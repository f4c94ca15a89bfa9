import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { createRandom } from '../compute/random.js';
import { type CadenceStep, findLostSteps, timesOf, type Waypoint } from './track-model-cadence.js';

/** A way that drifts 5 px a step and scatters by 0.3 px, with steps lost before some frames. */
function wayOf(count: number, lost: readonly CadenceStep[], seed: number, bump = 0): Waypoint[] {
  const random = createRandom(`cadence ${seed}`);
  const indices = Array.from({ length: count }, (_, i) => i);
  const times = timesOf(indices, lost);
  return indices.map((index) => {
    const time = times.get(index)!;
    const off = index >= 20 ? bump * 0.6 ** (index - 20) : 0;
    return {
      index,
      x: 5 * time + 1e-4 * time * time + 0.3 * random.normal() + off,
      y: -0.8 * time + 0.3 * random.normal() + 0.5 * off,
    };
  });
}

describe('findLostSteps', () => {
  it('finds gaps wherever they are', () => {
    fc.assert(
      fc.property(
        fc.integer({ min: 8, max: 52 }),
        fc.integer({ min: 1, max: 4 }),
        fc.integer(),
        (before, steps, seed) => {
          const lost = [{ before, lost: steps }];
          expect(findLostSteps(wayOf(60, lost, seed))).toEqual(lost);
        },
      ),
      { seed: 3, numRuns: 20 },
    );
  });

  it('finds a gap in the middle of a pass of a dozen frames', () => {
    fc.assert(
      fc.property(
        fc.integer({ min: 11, max: 16 }),
        fc.integer({ min: 1, max: 2 }),
        fc.integer(),
        (count, steps, seed) => {
          const lost = [{ before: Math.round(count / 2) - 1, lost: steps }];
          expect(findLostSteps(wayOf(count, lost, seed))).toEqual(lost);
        },
      ),
      { seed: 8, numRuns: 40 },
    );
  });

  it('finds several, and tells a bump from a gap', () => {
    const lost = [
      { before: 40, lost: 2 },
      { before: 71, lost: 1 },
      { before: 90, lost: 3 },
    ];
    expect(findLostSteps(wayOf(120, lost, 1))).toEqual(lost);
    expect(findLostSteps(wayOf(120, lost, 2, 25))).toEqual(lost);
    expect(findLostSteps(wayOf(120, [], 3, 25))).toEqual([]);
  });

  it('says nothing where steps do not stand out of the scatter', () => {
    const slow = wayOf(60, [{ before: 30, lost: 1 }], 4).map((p) => ({ ...p, x: p.x / 20, y: p.y / 20 }));
    const random = createRandom('slow');
    expect(findLostSteps(slow.map((p) => ({ ...p, x: p.x + 0.3 * random.normal() })))).toEqual([]);
  });
});

describe('timesOf', () => {
  it('adds what was lost before each frame', () => {
    expect([...timesOf([0, 1, 2, 5], [{ before: 2, lost: 3 }]).values()]).toEqual([0, 1, 5, 8]);
  });
});
