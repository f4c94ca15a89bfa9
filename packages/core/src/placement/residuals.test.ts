import { expect, test } from 'vitest';
import { translation } from '../compute/affine.js';
import { residualsOf } from './residuals.js';
import type { PlacedEdge } from './solve.js';

function edgeOf(count: number): PlacedEdge {
  const ties = Array.from({ length: count }, (_, k) => ({
    ...{ fixedX: k, fixedY: 2 * k, movingX: k - 10, movingY: 2 * k - 4, variance: 1 },
  }));
  return { fixed: 3, moving: 5, edge: { ties } as unknown as PlacedEdge['edge'] };
}

test('a residual is the way from the ground of the fixed strip to that of the moving one, in the common space', () => {
  const poses = new Map([
    [3, translation(100, 50)],
    [5, translation(110.5, 54.25)],
  ]);
  expect(residualsOf(edgeOf(2), poses)).toEqual([
    { x: 100, y: 50, dx: 0.5, dy: 0.25 },
    { x: 101, y: 52, dx: 0.5, dy: 0.25 },
  ]);
});

test('many ties are thinned out evenly, from the first on', () => {
  const poses = new Map([
    [3, translation(0, 0)],
    [5, translation(10, 4)],
  ]);
  const thinned = residualsOf(edgeOf(1000), poses);
  expect(thinned).toHaveLength(400);
  expect(thinned.slice(0, 3).map(({ x }) => x)).toEqual([0, 2, 5]);
  expect(thinned.at(-1)!.x).toBe(997);
  expect(Math.max(...thinned.map(({ dx, dy }) => Math.hypot(dx, dy)))).toBeLessThan(1e-12);
});
