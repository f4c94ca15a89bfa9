import { expect, test } from 'vitest';
import { type Affine, applyX, applyY, compose, invert, poseAbout } from '../compute/affine.js';
import { createPlane } from '../compute/image.js';
import { createRandom } from '../compute/random.js';
import type { TiePoint } from './edge.js';
import { decide } from './overlap-verdict.js';
import type { PlacedEdge } from './solve.js';

const WIDTH = 900;
const HEIGHT = 500;
const centre = { x: (WIDTH - 1) / 2, y: (HEIGHT - 1) / 2 };
const strip = { masked: { light: createPlane(WIDTH, HEIGHT) } };
/** Four strips below each other, each overlapping all others. */
const TRUTH: readonly Affine[] = [0, 1, 2, 3].map((k) =>
  poseAbout(centre, { shiftX: 12 * k, shiftY: 110 * k, rotationDeg: 0.7 * k }),
);

function overlap(fixed: number, moving: number, correlation: number, wrongBy: readonly [number, number]): PlacedEdge {
  const random = createRandom(`${fixed} ${moving}`);
  const pose = compose(invert(TRUTH[fixed]!), TRUTH[moving]!);
  const ties: TiePoint[] = [];
  for (let y = 20; y < HEIGHT; y += 40) {
    for (let x = 20; x < WIDTH; x += 60) {
      const fixedX = applyX(pose, x, y) + wrongBy[0] + 0.2 * random.normal();
      const fixedY = applyY(pose, x, y) + wrongBy[1] + 0.2 * random.normal();
      if (fixedY < 0 || fixedY > HEIGHT - 1) continue;
      ties.push({ fixedX, fixedY, movingX: x, movingY: y, variance: 0.01 });
    }
  }
  const given = { ...pose, tx: pose.tx + wrongBy[0], ty: pose.ty + wrongBy[1] };
  const lock = { pose: given, correlation, overlap: 0.3, significance: 40 * correlation };
  return { fixed, moving, edge: { pose: given, lock, correlation, ties, spreadPx: 0.2 } };
}

const pairs = [
  [0, 1],
  [1, 2],
  [2, 3],
  [0, 2],
  [1, 3],
  [0, 3],
] as const;

test('true overlaps are all kept and tested, and join the strips', () => {
  const found = decide(
    [strip, strip, strip, strip],
    pairs.map(([a, b]) => overlap(a, b, 0.8, [0, 0])),
  );
  expect(found.groups).toEqual([[0, 1, 2, 3]]);
  for (const v of found.verdicts) expect(v).toEqual({ kept: true, reason: null, detail: '', tested: true });
});

test('a false overlap is outvoted by its loops, however sure of itself, and named', () => {
  const edges = pairs.map(([a, b]) =>
    a === 0 && b === 2 ? overlap(a, b, 0.99, [60, -45]) : overlap(a, b, 0.6, [0, 0]),
  );
  const found = decide([strip, strip, strip, strip], edges);
  expect(found.groups).toEqual([[0, 1, 2, 3]]);
  expect(found.verdicts[3]).toMatchObject({ kept: false, reason: 'LOOP', detail: expect.stringMatching(/px/) });
  expect(found.verdicts.filter((v) => v.kept)).toHaveLength(5);
});

test('of a loop that does not close, the overlap of little ground that correlates less is the false one', () => {
  const wrong = overlap(0, 2, 0.73, [60, -45]);
  const little = { ...wrong, edge: { ...wrong.edge, ties: wrong.edge.ties.slice(0, 13) } };
  const found = decide([strip, strip, strip], [overlap(0, 1, 0.99, [0, 0]), little, overlap(1, 2, 0.99, [0, 0])]);
  expect(found.groups).toEqual([[0, 1, 2]]);
  expect(found.verdicts.map((v) => v.reason)).toEqual([null, 'LOOP', null]);
});

test('three sure overlaps of much ground that contradict each other leave open which is false', () => {
  const edges = [overlap(0, 1, 0.99, [0, 0]), overlap(0, 2, 0.97, [60, -45]), overlap(1, 2, 0.99, [0, 0])];
  expect(decide([strip, strip, strip], edges).verdicts.map((v) => v.reason)).toContain('CONTESTED');
});

test('an overlap that turns a strip off the way of the sky joins nothing, though nothing else contradicts it', () => {
  // The truth turns each strip by 0.7 degrees more; a way lies in its strip turned back by as much.
  const withWay = (k: number) => ({
    ...strip,
    way: { ...centre, angleRad: (-0.7 * k * Math.PI) / 180, sigmaRad: 1e-3, ratePerPx: 0 },
  });
  const turned = overlap(1, 2, 0.8, [0, 0]);
  const pose = compose(turned.edge.pose, poseAbout(centre, { shiftX: 0, shiftY: 0, rotationDeg: 20 }));
  const little = { ...turned, edge: { ...turned.edge, pose, ties: turned.edge.ties.slice(0, 13) } };
  const found = decide([0, 1, 2].map(withWay), [overlap(0, 1, 0.9, [0, 0]), little]);
  expect(found.groups).toEqual([[0, 1], [2]]);
  expect(found.verdicts[0]).toMatchObject({ kept: true });
  expect(found.verdicts[1]).toMatchObject({ kept: false, reason: 'WAY', detail: expect.stringContaining('20.0°') });
});

test('strips without an overlap are groups of their own; an overlap without ties joins nothing', () => {
  const bare = overlap(0, 1, 0.9, [0, 0]);
  const found = decide(
    [strip, strip, strip],
    [{ ...bare, edge: { ...bare.edge, ties: [] } }, overlap(1, 2, 0.8, [0, 0])],
  );
  expect(found.groups).toEqual([[1, 2], [0]]);
  expect(found.verdicts[0]).toMatchObject({ kept: false, reason: 'MALFORMED' });
  expect(found.verdicts[1]).toMatchObject({ kept: true, tested: false });
});
