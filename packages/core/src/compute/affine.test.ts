import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import {
  type Affine,
  applyX,
  applyY,
  compose,
  IDENTITY,
  invert,
  onCoarserGrid,
  onFinerGrid,
  poseAbout,
  rotationDegOf,
} from './affine.js';

const poses = fc.record({
  shiftX: fc.double({ min: -2000, max: 2000, noNaN: true }),
  shiftY: fc.double({ min: -2000, max: 2000, noNaN: true }),
  rotationDeg: fc.double({ min: -179, max: 179, noNaN: true }),
  scale: fc.double({ min: 0.3, max: 3, noNaN: true }),
  squeeze: fc.double({ min: 0.9, max: 1.1, noNaN: true }),
});
const centre = { x: 479.5, y: 319.5 };

function expectSame(a: Affine, b: Affine, tolerancePx: number): void {
  for (const [x, y] of [
    [0, 0],
    [960, 0],
    [0, 640],
  ] as const) {
    expect(Math.abs(applyX(a, x, y) - applyX(b, x, y))).toBeLessThan(tolerancePx);
    expect(Math.abs(applyY(a, x, y) - applyY(b, x, y))).toBeLessThan(tolerancePx);
  }
}

describe('affine maps', () => {
  test('a map composed with its inverse is the identity, on either side', () => {
    fc.assert(
      fc.property(poses, (parts) => {
        const a = poseAbout(centre, parts);
        expectSame(compose(a, invert(a)), IDENTITY, 1e-8);
        expectSame(compose(invert(a), a), IDENTITY, 1e-8);
      }),
      { seed: 1 },
    );
  });

  test('four quarter turns give the identity, and x turns towards y', () => {
    const quarter = poseAbout(centre, { shiftX: 0, shiftY: 0, rotationDeg: 90 });
    expect(applyX(quarter, centre.x + 10, centre.y)).toBeCloseTo(centre.x, 10);
    expect(applyY(quarter, centre.x + 10, centre.y)).toBeCloseTo(centre.y + 10, 10);
    expectSame(compose(quarter, compose(quarter, compose(quarter, quarter))), IDENTITY, 1e-9);
    expect(rotationDegOf(quarter)).toBeCloseTo(90, 10);
  });

  test('going to a coarser grid and back changes nothing, and pixel centres agree', () => {
    fc.assert(
      fc.property(poses, fc.integer({ min: 1, max: 8 }), (parts, factor) => {
        const a = poseAbout(centre, parts);
        const coarse = onCoarserGrid(a, factor);
        expectSame(onFinerGrid(coarse, factor), a, 1e-8);
        const offset = (factor - 1) / 2;
        expect(applyX(coarse, 5, 7) * factor + offset).toBeCloseTo(
          applyX(a, 5 * factor + offset, 7 * factor + offset),
          7,
        );
      }),
      { seed: 2 },
    );
  });

  test('a degenerate map is refused', () => {
    expect(() => invert({ ...IDENTITY, xx: 0 })).toThrow('cannot invert a degenerate affine map');
  });
});
