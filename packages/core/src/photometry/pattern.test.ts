import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import {
  BASIS_TERMS,
  basisAt,
  flatPattern,
  NODE_COLUMNS,
  NODE_ROWS,
  PATTERN_SIZE,
  patternAt,
  RADIAL_TERMS,
  withCoefficients,
} from './pattern.js';

const flat = flatPattern(640, 480);
const share = fc.double({ min: -1, max: 1, noNaN: true });
const PARAMETERS = { seed: 6, numRuns: 80 };

describe('the smooth pattern', () => {
  it('is 1 everywhere when flat, beyond the frame too', () => {
    for (const [x, y] of [
      [0, 0],
      [0.8, 0.6],
      [-0.8, 0.1],
      [3, -2],
    ] as const)
      expect(patternAt(flat, x, y)).toBe(1);
    // Half the sides of a 4 : 3 frame in units of half its diagonal.
    expect([flat.halfWidth, flat.halfHeight]).toEqual([0.8, 0.6]);
  });

  it('falls as exp(a·r² + b·r⁴ + c·r⁶) when round', () => {
    const round = withCoefficients(flat, [-0.3, 0.05, -0.02, ...flat.nodes]);
    fc.assert(
      fc.property(share, share, (u, v) => {
        const r2 = (0.8 * u) ** 2 + (0.6 * v) ** 2;
        expect(patternAt(round, 0.8 * u, 0.6 * v)).toBeCloseTo(
          Math.exp(-0.3 * r2 + 0.05 * r2 ** 2 - 0.02 * r2 ** 3),
          13,
        );
      }),
      PARAMETERS,
    );
  });

  it('meets its nodes and is linear in the logarithm between them', () => {
    const node = (column: number, row: number): number => 0.01 * column - 0.02 * row + 0.003 * column * row;
    const nodes = Array.from({ length: NODE_COLUMNS * NODE_ROWS }, (_, i) =>
      node(i % NODE_COLUMNS, Math.floor(i / NODE_COLUMNS)),
    );
    const uneven = withCoefficients(flat, [0, 0, 0, ...nodes]);
    fc.assert(
      fc.property(share, share, (u, v) => {
        // The formula is bilinear, so that interpolation between nodes gives it exactly.
        const log = node(((u + 1) / 2) * (NODE_COLUMNS - 1), ((v + 1) / 2) * (NODE_ROWS - 1));
        expect(Math.log(patternAt(uneven, 0.8 * u, 0.6 * v))).toBeCloseTo(log, 12);
      }),
      PARAMETERS,
    );
    expect(Math.log(patternAt(uneven, 5, 0.6))).toBeCloseTo(node(NODE_COLUMNS - 1, NODE_ROWS - 1), 12);
  });

  it('has node weights that add up to 1, and indices inside, anywhere', () => {
    const index = new Uint16Array(BASIS_TERMS);
    const value = new Float64Array(BASIS_TERMS);
    fc.assert(
      fc.property(share, share, (u, v) => {
        expect(basisAt(flat, 2 * u, 2 * v, index, value)).toBe(BASIS_TERMS);
        expect(value.subarray(RADIAL_TERMS).reduce((sum, w) => sum + w, 0)).toBeCloseTo(1, 13);
        expect(new Set(index).size).toBe(BASIS_TERMS);
        expect(Math.max(...index)).toBeLessThan(PATTERN_SIZE);
      }),
      PARAMETERS,
    );
  });

  it('takes coefficients radial ones first, and keeps the frame', () => {
    const made = withCoefficients(
      flat,
      Float64Array.from({ length: PATTERN_SIZE }, (_, i) => i),
    );
    expect(made.radial).toEqual([0, 1, 2]);
    expect(made.nodes.length).toBe(NODE_COLUMNS * NODE_ROWS);
    expect(made.nodes[0]).toBe(RADIAL_TERMS);
    expect(made.halfWidth).toBe(flat.halfWidth);
  });
});
