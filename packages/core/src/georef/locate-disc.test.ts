import { describe, expect, it } from 'vitest';
import { createRandom } from '../compute/random.js';
import { type LocatedDisc, withSize } from './locate-disc.js';

const SIGMA_PX = 0.3;
const HALF_ARC = 80 * (Math.PI / 180);
const ANGLES = Array.from({ length: 41 }, (_, k) => HALF_ARC * (k / 20 - 1));

/** Least squares of a disc's errors (centre to the right, downwards, radius) from those of its limb along an arc. */
function fitted(heights: readonly number[]): { disc: LocatedDisc; normal: number[] } {
  const rows = ANGLES.map((angle) => [Math.cos(angle), Math.sin(angle), 1]);
  const normal = [0, 1, 2].flatMap((i) => [0, 1, 2].map((j) => rows.reduce((sum, row) => sum + row[i]! * row[j]!, 0)));
  const right = [0, 1, 2].map((i) => rows.reduce((sum, row, k) => sum + row[i]! * heights[k]!, 0));
  const inverse = inverse3(normal);
  const [x, y, r] = [0, 1, 2].map((i) => [0, 1, 2].reduce((sum, j) => sum + inverse[3 * i + j]! * right[j]!, 0));
  const covariance = inverse.map((v) => v * SIGMA_PX ** 2);
  return { disc: { centreX: x!, centreY: y!, radiusPx: 100 + r!, covariance, weight: normal }, normal };
}

function inverse3([a, b, c, d, e, f, g, h, i]: readonly number[]): number[] {
  const minors = [
    e! * i! - f! * h!,
    c! * h! - b! * i!,
    b! * f! - c! * e!,
    f! * g! - d! * i!,
    a! * i! - c! * g!,
    c! * d! - a! * f!,
    d! * h! - e! * g!,
    b! * g! - a! * h!,
    a! * e! - b! * d!,
  ];
  const determinant = a! * minors[0]! + b! * minors[3]! + c! * minors[6]!;
  return minors.map((minor) => minor / determinant);
}

describe('withSize', () => {
  it('is the least squares of limb and size together', () => {
    const random = createRandom(4);
    const { disc, normal } = fitted(ANGLES.map(() => SIGMA_PX * random.normal()));
    const size = { radiusPx: 100.1, sigmaPx: 0.02 };
    const both = withSize(disc, size);
    // The normal equations with the size as one more row.
    const told = (SIGMA_PX / size.sigmaPx) ** 2;
    const more = normal.map((v, i) => (i === 8 ? v + told : v));
    const from = [disc.centreX, disc.centreY, disc.radiusPx - 100];
    const right = [0, 1, 2].map(
      (i) => [0, 1, 2].reduce((sum, j) => sum + normal[3 * i + j]! * from[j]!, 0) + (i === 2 ? told * 0.1 : 0),
    );
    const inverse = inverse3(more);
    const wanted = [0, 1, 2].map((i) => [0, 1, 2].reduce((sum, j) => sum + inverse[3 * i + j]! * right[j]!, 0));
    expect(both.centreX).toBeCloseTo(wanted[0]!, 9);
    expect(both.centreY).toBeCloseTo(wanted[1]!, 9);
    expect(both.radiusPx).toBeCloseTo(100 + wanted[2]!, 9);
    both.covariance.forEach((v, i) => {
      expect(v).toBeCloseTo(inverse[i]! * SIGMA_PX ** 2, 9);
    });
  });

  it('leaves the disc alone where there is no size, or one that cannot be right', () => {
    const { disc } = fitted(ANGLES.map(() => 0));
    expect(withSize(disc, null)).toBe(disc);
    expect(withSize(disc, { radiusPx: 110, sigmaPx: 0.02 })).toBe(disc);
  });
});
