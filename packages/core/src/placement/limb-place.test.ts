import { describe, expect, test } from 'vitest';
import { IDENTITY, translation } from '../compute/affine.js';
import { createPlane } from '../compute/image.js';
import type { LimbFit } from './limb.js';
import { contradicts, discOfGroup, type GroupDisc, shiftByLimb } from './limb-place.js';

/** A disc whose centre, seen from an arc in direction `angle`, slides along that direction as its radius changes. */
function disc(x: number, y: number, radiusPx: number, radiusSigma: number, angle: number): GroupDisc {
  const cos = Math.cos(angle);
  const sin = Math.sin(angle);
  const v = radiusSigma ** 2;
  const own = 0.05 ** 2;
  return {
    x,
    y,
    radiusPx,
    covariance: [
      v * cos * cos + own,
      v * cos * sin,
      -v * cos,
      v * cos * sin,
      v * sin * sin + own,
      -v * sin,
      -v * cos,
      -v * sin,
      v,
    ],
  };
}

describe('shiftByLimb', () => {
  test('lays one centre on the other', () => {
    const shift = shiftByLimb(disc(100, 50, 400, 0.5, 0), disc(130, -20, 400, 0.5, 1))!;
    expect(shift).toMatchObject({ ...IDENTITY, tx: expect.closeTo(-30, 6), ty: expect.closeTo(70, 6) });
  });

  test('a wrong radius has pushed the centre along its arc: the common radius takes it back', () => {
    // True discs: centre (0, 0), radius 500. The second arc, at angle 0, came out 6 px too large: its centre lies at -6.
    const shift = shiftByLimb(disc(0, 0, 500, 0.1, 1.5), disc(-6, 0, 506, 3, 0))!;
    expect(Math.abs(shift.tx)).toBeLessThan(0.1);
    expect(Math.abs(shift.ty)).toBeLessThan(0.1);
  });

  test('radii that contradict each other place nothing', () => {
    expect(shiftByLimb(disc(0, 0, 500, 1, 0), disc(0, 0, 560, 1, 0))).toBeNull();
  });

  test('a centre that nobody knows places nothing', () => {
    const vague = { ...disc(0, 0, 500, 1, 0), covariance: [900, 0, 0, 0, 900, 0, 0, 0, 1] };
    expect(shiftByLimb(disc(0, 0, 500, 1, 0), vague)).toBeNull();
  });
});

test('discOfGroup takes the best limb into the common space', () => {
  const limb = (centreX: number, variance: number): LimbFit => ({
    centreX,
    centreY: 7,
    radiusPx: 300,
    stretch: 1,
    covariance: [variance, 0, 0, 0, variance, 0, 0, 0, variance],
    arcDeg: 60,
    points: 100,
    rmsPx: 0.1,
  });
  const found = discOfGroup([
    { limb: limb(5, 4), pose: IDENTITY },
    { limb: null, pose: IDENTITY },
    { limb: limb(50, 1), pose: translation(-45, 10) },
  ]);
  expect(found).toMatchObject({ x: 5, y: 17, radiusPx: 300 });
  expect(discOfGroup([{ limb: null, pose: IDENTITY }])).toBeNull();
});

test('contradicts says when strips placed by limb share more than a sliver', () => {
  const strip = (x: number, y: number) => ({ masked: { light: createPlane(100, 80) }, pose: translation(x, y) });
  expect(contradicts([strip(0, 0)], [strip(0, 79)])).toBe(false);
  expect(contradicts([strip(0, 0)], [strip(40, 30)])).toBe(true);
  expect(contradicts([], [strip(0, 0)])).toBe(false);
});
