import fc from 'fast-check';
import { expect, test } from 'vitest';
import { NOBODY } from '../blend/seams.js';
import { translation } from '../compute/affine.js';
import { middlesOf, outlineOf, seamsOf } from './outlines.js';

test('the outline of frames that drift is convex and holds every corner', () => {
  fc.assert(
    fc.property(
      fc.array(fc.tuple(fc.integer({ min: -400, max: 400 }), fc.integer({ min: -400, max: 400 })), {
        minLength: 1,
        maxLength: 9,
      }),
      (shifts) => {
        const hull = outlineOf(
          shifts.map(([x, y]) => translation(x, y)),
          60,
          40,
        );
        for (const [x, y] of shifts) {
          for (const corner of [
            [x - 0.5, y - 0.5],
            [x + 59.5, y + 39.5],
          ] as const) {
            hull.forEach((a, k) => {
              const b = hull[(k + 1) % hull.length]!;
              expect((b.x - a.x) * (corner[1] - a.y) - (b.y - a.y) * (corner[0] - a.x)).toBeGreaterThanOrEqual(0);
            });
          }
        }
      },
    ),
    { seed: 3 },
  );
});

test('a single frame is its own outline, and its middle lies between its corners', () => {
  const pose = translation(100, 10);
  expect(outlineOf([pose], 4, 2)).toEqual([
    { x: 99.5, y: 9.5 },
    { x: 103.5, y: 9.5 },
    { x: 103.5, y: 11.5 },
    { x: 99.5, y: 11.5 },
  ]);
  expect(middlesOf([pose], 4, 2)).toEqual([{ x: 101.5, y: 10.5 }]);
});

test('seams run where two passes meet, and not where a pass meets nothing', () => {
  const label = Uint8Array.from([0, 0, NOBODY, 0, 1, 1, 1, 1, NOBODY]);
  // 0 0 .
  // 0 1 1     the first cell stands on plate px (16, 0)
  // 1 1 .
  expect(seamsOf({ box: { x0: 2, y0: 0, width: 3, height: 3 }, label })).toEqual([
    { from: { x: 20, y: 4 }, to: { x: 28, y: 4 } },
    { from: { x: 12, y: 12 }, to: { x: 20, y: 12 } },
    { from: { x: 20, y: 4 }, to: { x: 20, y: 12 } },
  ]);
});
