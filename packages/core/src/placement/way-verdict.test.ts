import fc from 'fast-check';
import { expect, test } from 'vitest';
import { poseAbout } from '../compute/affine.js';
import type { StripEdge } from './edge.js';
import type { Heading } from './heading.js';
import type { PlacedEdge } from './solve.js';
import { againstWay } from './way-verdict.js';

const RAD = Math.PI / 180;
const tie = { fixedX: 0, fixedY: 0, movingX: 0, movingY: 0, variance: 0.01 };

function way(angleDeg: number, sigmaDeg = 0.05): Heading {
  return { x: 300, y: 200, angleRad: angleDeg * RAD, sigmaRad: sigmaDeg * RAD, ratePerPx: 1e-6 };
}

function overlap(fixed: number, moving: number, turnDeg: number, ties = 90, correlation = 0.97): PlacedEdge {
  const pose = poseAbout({ x: 300, y: 200 }, { shiftX: 20, shiftY: 150, rotationDeg: turnDeg });
  const lock = { pose, correlation, overlap: 0.2, significance: 30 };
  const edge: StripEdge = { pose, lock, correlation, spreadPx: 0.2, ties: Array.from({ length: ties }, () => tie) };
  return { fixed, moving, edge };
}

test('an overlap of little ground that turns off the way is named with the angle', () => {
  const found = againstWay([overlap(0, 1, 1), overlap(0, 2, -21.7, 13, 0.73)], [way(0), way(-1), way(-2)]);
  expect([...found.keys()]).toEqual([1]);
  expect(found.get(1)).toBe('it turns one by -21.7°, 23.7° off the way of the sky through both');
});

test('a turn as the ways have it is never off, whichever end a way starts from', () => {
  const angle = fc.double({ min: -180, max: 180, noNaN: true });
  fc.assert(
    fc.property(angle, angle, fc.boolean(), fc.double({ min: -1.5, max: 1.5, noNaN: true }), (a, b, half, error) => {
      const turn = a - b + (half ? 180 : 0) + error;
      expect(againstWay([overlap(0, 1, turn)], [way(a), way(b)]).size).toBe(0);
      expect(againstWay([overlap(0, 1, turn + 30, 13, 0.7)], [way(a), way(b)]).size).toBe(1);
    }),
    { seed: 61 },
  );
});

test('a way that is not known well, or not at all, says nothing', () => {
  const off = overlap(0, 1, 25, 13, 0.7);
  expect(againstWay([off], [way(0), way(0)]).size).toBe(1);
  expect(againstWay([off], [way(0, 0.6), way(0)]).size).toBe(0);
  expect(againstWay([off], [undefined, way(0)]).size).toBe(0);
});

test('ways that sure overlaps contradict are not believed: the camera was moved with the sky', () => {
  const ways = [way(0), way(40), way(80)];
  const sure = [overlap(0, 1, 0), overlap(1, 2, 0)];
  expect(againstWay([...sure, overlap(0, 2, 25, 13, 0.7)], ways).size).toBe(0);
});
