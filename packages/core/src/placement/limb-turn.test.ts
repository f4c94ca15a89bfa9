import { expect, test } from 'vitest';
import { applyX, applyY, compose, IDENTITY, invert, poseAbout, rotationDegOf } from '../compute/affine.js';
import type { Heading } from './heading.js';
import { type GroupDisc, shiftByLimb } from './limb-place.js';
import { turnByWay, turnedDisc, wayOfGroup } from './limb-turn.js';

const DISC: GroupDisc = {
  x: 300,
  y: 900,
  radiusPx: 640,
  covariance: [0.09, 0.02, -0.08, 0.02, 0.04, 0, -0.08, 0, 0.1],
};
const heading = (x: number, y: number, angleRad: number, ratePerPx = 0, sigmaRad = 1e-3): Heading => ({
  x,
  y,
  angleRad,
  sigmaRad,
  ratePerPx,
});

test('a group turned and shifted as a whole comes back by its limb and its way', () => {
  const moved = poseAbout({ x: 50, y: 80 }, { shiftX: 40, shiftY: -25, rotationDeg: 3.2 });
  const own: GroupDisc = { ...DISC, x: applyX(moved, DISC.x, DISC.y), y: applyY(moved, DISC.x, DISC.y) };
  const fixed = wayOfGroup([{ heading: heading(310, 700, 0.02), pose: IDENTITY }], DISC);
  const moving = wayOfGroup([{ heading: heading(310, 1100, 0.02), pose: moved }], own);
  const turn = turnByWay(fixed, moving, own)!;
  const back = compose(shiftByLimb(DISC, turnedDisc(own, turn))!, turn);
  const whole = compose(back, moved);
  for (const [x, y] of [
    [0, 0],
    [1000, 0],
    [0, 1500],
  ] as const) {
    expect(Math.hypot(applyX(whole, x, y) - x, applyY(whole, x, y) - y)).toBeLessThan(1e-6);
  }
  expect(rotationDegOf(invert(turn))).toBeCloseTo(3.2, 6);
});

test('the field rotates along the way: passes ahead of and behind the disc agree at its centre', () => {
  const rate = 2e-6;
  const way = wayOfGroup(
    [
      {
        heading: heading(DISC.x + 400 * Math.cos(0.1), DISC.y + 400 * Math.sin(0.1), 0.1 + 400 * rate, rate),
        pose: IDENTITY,
      },
    ],
    DISC,
  )!;
  expect(way.angleRad).toBeCloseTo(0.1, 5);
});

test('a way and its reverse are the same; the better known one weighs more', () => {
  const both = [
    { heading: heading(300, 0, 0.1, 0, 1e-3), pose: IDENTITY },
    { heading: heading(300, 0, 0.13 + Math.PI, 0, 2e-3), pose: IDENTITY },
  ];
  expect(wayOfGroup(both, DISC)!.angleRad).toBeCloseTo(0.1 + 0.03 / 5, 9);
});

test('a way that is unknown or vague turns nothing', () => {
  const good = { angleRad: 0, sigmaRad: 1e-3 };
  expect(turnByWay(good, null, DISC)).toBeNull();
  expect(turnByWay(good, { angleRad: 0.02, sigmaRad: 0.02 }, DISC)).toBeNull();
  expect(wayOfGroup([{ heading: undefined, pose: IDENTITY }], DISC)).toBeNull();
});

test('the doubt of a disc turns with it', () => {
  const quarter = turnedDisc(DISC, poseAbout(DISC, { shiftX: 0, shiftY: 0, rotationDeg: 90 }));
  const expected = [0.04, -0.02, 0, -0.02, 0.09, -0.08, 0, -0.08, 0.1];
  quarter.covariance.forEach((v, k) => {
    expect(v).toBeCloseTo(expected[k]!, 9);
  });
});
