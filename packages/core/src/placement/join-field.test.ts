import { describe, expect, it } from 'vitest';
import { IDENTITY, translation } from '../compute/affine.js';
import type { BendGrid } from '../compute/bend-grid.js';
import { createRandom } from '../compute/random.js';
import { bilinearAt } from '../compute/sample.js';
import type { StripEdge } from './edge.js';
import { joinFields } from './join-field.js';
import type { PlacedEdge } from './solve.js';

const lock = { pose: IDENTITY, significance: 20, correlation: 0.9, overlap: 0.2 };

/** Two strips of 900 × 400 px, the second 300 px lower; in the overlap the second shows ground `apart` px off. */
function overlap(apart: (x: number, y: number) => readonly [number, number], noise = 0.02): PlacedEdge {
  const random = createRandom(4);
  const ties = Array.from({ length: 25 * 3 }, (_, i) => {
    const x = 40 + 34 * (i % 25);
    const y = 310 + 35 * Math.floor(i / 25);
    const [dx, dy] = apart(x, y);
    return {
      fixedX: x + dx + noise * random.normal(),
      fixedY: y + dy + noise * random.normal(),
      movingX: x,
      movingY: y - 300,
      variance: noise ** 2,
    };
  });
  const edge: StripEdge = { pose: translation(0, 300), lock, correlation: 0.9, ties, spreadPx: 0.5 };
  return { fixed: 0, moving: 1, edge };
}

const strips = (frames: readonly [number, number]) => [
  { pose: IDENTITY, widthPx: 900, heightPx: 400, frames: frames[0] },
  { pose: translation(0, 300), widthPx: 900, heightPx: 400, frames: frames[1] },
];

const at = (grid: BendGrid | null | undefined, x: number, y: number): [number, number] => {
  const { x0, y0, stepPx, columns, rows } = grid!;
  const [u, v] = [(x - x0) / stepPx, (y - y0) / stepPx];
  return [bilinearAt(grid!.x, columns, rows, u, v), bilinearAt(grid!.y, columns, rows, u, v)];
};

const waves = (x: number, y: number) => [0.5 * Math.sin(x / 70), 0.4 * Math.cos(x / 80 + y / 90)] as const;

describe('joinFields', () => {
  it('brings both strips together where they overlap, each half the way', () => {
    const [a, b] = joinFields(strips([12, 12]), [overlap(waves)]);
    for (let x = 80; x < 820; x += 37) {
      const [dx, dy] = waves(x, 345);
      const [ax, ay] = at(a, x, 345);
      const [bx, by] = at(b, x, 345);
      // Bends between ties 34 px apart, noise of 0.02 px.
      expect(Math.abs(bx - ax - dx)).toBeLessThan(0.06);
      expect(Math.abs(by - ay - dy)).toBeLessThan(0.06);
      // The knots of one lie between those of the other.
      expect(Math.abs(ax + bx)).toBeLessThan(0.01);
    }
  });

  it('lets the strip with more frames go less far', () => {
    const [a, b] = joinFields(strips([36, 12]), [overlap(waves)]);
    const [ax] = at(a, 110, 345);
    const [bx] = at(b, 110, 345);
    expect(Math.abs(ax / bx + 1 / 3)).toBeLessThan(0.02);
  });

  it('leaves what lies far from any overlap where it is', () => {
    const [a, b] = joinFields(strips([12, 12]), [overlap(waves)]);
    expect(Math.hypot(...at(a, 400, 0))).toBeLessThan(0.02);
    expect(Math.hypot(...at(b, 400, 690))).toBeLessThan(0.02);
  });

  it('moves nothing without overlaps, and has nothing for a strip that is not placed', () => {
    const [a, b] = joinFields([strips([1, 1])[0]!, null], []);
    expect(a!.x.every((v) => v === 0)).toBe(true);
    expect(b).toBeNull();
  });
});
