import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { poseDistancePx } from '../../test/scene-field.js';
import { type Affine, applyX, applyY, compose, invert, poseAbout } from '../compute/affine.js';
import { createRandom } from '../compute/random.js';
import type { TiePoint } from './edge.js';
import { type PlacedEdge, solvePlacement } from './solve.js';

const WIDTH = 1800;
const HEIGHT = 900;
const size = { width: WIDTH, height: HEIGHT };
const centre = { x: (WIDTH - 1) / 2, y: (HEIGHT - 1) / 2 };
const sizes = (count: number) => new Map(Array.from({ length: count }, (_, s) => [s, size]));

/** Strips below each other, turned by up to a few degrees; the first is where it is. */
const turned: readonly Affine[] = [
  poseAbout(centre, { shiftX: 0, shiftY: 0 }),
  poseAbout(centre, { shiftX: 40.3, shiftY: 610.7, rotationDeg: 2.3 }),
  poseAbout(centre, { shiftX: -75.2, shiftY: 1190.4, rotationDeg: -3.1 }),
  poseAbout(centre, { shiftX: 12.8, shiftY: 1805.9, rotationDeg: 0.7 }),
];

interface EdgeOptions {
  readonly noisePx?: number;
  readonly significance?: number;
  /** How wrong the edge's own pose is, moving px -> fixed px; ties are not touched. */
  readonly start?: { readonly shiftX: number; readonly shiftY: number; readonly rotationDeg?: number };
  /** How far all ties lie from the truth, px. */
  readonly wrongBy?: readonly [number, number];
}

/** An edge whose ties say how two true poses relate. */
function edgeOf(truth: readonly Affine[], fixed: number, moving: number, options: EdgeOptions = {}): PlacedEdge {
  const { noisePx = 0, significance = 20, start, wrongBy = [0, 0] } = options;
  const random = createRandom(`edge ${fixed} ${moving}`);
  const pose = compose(invert(truth[fixed]!), truth[moving]!);
  const ties: TiePoint[] = [];
  for (let y = 30; y < HEIGHT; y += 70) {
    for (let x = 50; x < WIDTH; x += 140) {
      const fixedX = applyX(pose, x, y) + wrongBy[0];
      const fixedY = applyY(pose, x, y) + wrongBy[1];
      if (fixedX < 0 || fixedY < 0 || fixedX > WIDTH - 1 || fixedY > HEIGHT - 1) continue;
      ties.push({
        fixedX: fixedX + noisePx * random.normal(),
        fixedY: fixedY + noisePx * random.normal(),
        movingX: x,
        movingY: y,
        variance: Math.max(1e-4, noisePx ** 2),
      });
    }
  }
  const shifted = { ...pose, tx: pose.tx + wrongBy[0], ty: pose.ty + wrongBy[1] };
  const given = start ? compose(poseAbout(centre, start), shifted) : shifted;
  const lock = { pose: given, correlation: 0.8, overlap: 0.3, significance };
  return { fixed, moving, edge: { pose: given, lock, correlation: 0.8, ties, spreadPx: noisePx } };
}

function worst(found: ReadonlyMap<number, Affine>, truth: readonly Affine[]): number {
  return Math.max(...truth.map((pose, s) => poseDistancePx(found.get(s)!, pose, WIDTH, HEIGHT)));
}

describe('solvePlacement', () => {
  it('is exact for exact ties, from starts that are off by pixels', () => {
    const edges = [
      edgeOf(turned, 0, 1, { start: { shiftX: 3, shiftY: -2, rotationDeg: 0.1 } }),
      edgeOf(turned, 1, 2, { start: { shiftX: -2, shiftY: 1, rotationDeg: -0.08 } }),
      edgeOf(turned, 3, 2, { start: { shiftX: 1, shiftY: 4 } }),
    ];
    const { poses, edgeRmsPx } = solvePlacement([0, 1, 2, 3], edges, sizes(4), 0);
    // Six Gauss–Newton rounds; the priors on scale and stretch agree with the truth and do not pull.
    expect(worst(poses, turned)).toBeLessThan(1e-6);
    for (const rms of edgeRmsPx) expect(rms).toBeLessThan(1e-6);
  });

  it('keeps the first strip in its place', () => {
    for (const first of [0, 2]) {
      const { poses } = solvePlacement([0, 1, 2], [edgeOf(turned, 0, 1), edgeOf(turned, 1, 2)], sizes(3), first);
      const { xx, xy, tx, ty } = poses.get(first)!;
      expect(Math.hypot(xx - 1, xy)).toBeLessThan(1e-9);
      expect(Math.hypot(tx, ty)).toBeLessThan(1e-6);
      const again = turned.slice(0, 3).map((pose) => compose(invert(turned[first]!), pose));
      expect(worst(poses, again)).toBeLessThan(1e-6);
    }
  });

  it('does not care which strip of an edge is called fixed, nor for the order of edges', () => {
    const edges = [edgeOf(turned, 0, 1), edgeOf(turned, 1, 2), edgeOf(turned, 2, 3)].map((e) => ({ ...e }));
    const turnRound = ({ fixed, moving, edge }: PlacedEdge): PlacedEdge => ({
      fixed: moving,
      moving: fixed,
      edge: {
        ...edge,
        pose: invert(edge.pose),
        ties: edge.ties.map((t) => ({
          fixedX: t.movingX,
          fixedY: t.movingY,
          movingX: t.fixedX,
          movingY: t.fixedY,
          variance: t.variance,
        })),
      },
    });
    fc.assert(
      fc.property(
        fc.shuffledSubarray(edges, { minLength: 3 }),
        fc.array(fc.boolean(), { minLength: 3, maxLength: 3 }),
        (order, flip) => {
          const given = order.map((e, k) => (flip[k] ? turnRound(e) : e));
          expect(worst(solvePlacement([0, 1, 2, 3], given, sizes(4), 0).poses, turned)).toBeLessThan(1e-6);
        },
      ),
      { seed: 2, numRuns: 12 },
    );
  });

  it('finds differences in scale and stretch of the size that refraction leaves', () => {
    const truth = [
      turned[0]!,
      poseAbout(centre, { shiftX: 40.3, shiftY: 410.7, rotationDeg: 0.4, scale: 1.0003, squeeze: 1.0006 }),
    ];
    const { poses } = solvePlacement([0, 1], [edgeOf(truth, 0, 1)], sizes(2), 0);
    // The priors share half of it out to the first strip; against each other the two are right to hundredths of a px.
    const relative = compose(invert(poses.get(0)!), poses.get(1)!);
    expect(poseDistancePx(relative, truth[1]!, WIDTH, HEIGHT)).toBeLessThan(0.05);
  });

  it('averages noise over the ties', () => {
    const edges = [edgeOf(turned, 0, 1, { noisePx: 0.2 }), edgeOf(turned, 1, 2, { noisePx: 0.2 })];
    const { poses, edgeRmsPx } = solvePlacement([0, 1, 2], edges, sizes(3), 0);
    // 0.2 px over some 50 ties an edge, drawn out by the lever to the far corners.
    expect(worst(poses, turned.slice(0, 3))).toBeLessThan(0.3);
    for (const rms of edgeRmsPx) {
      expect(rms).toBeGreaterThan(0.12);
      expect(rms).toBeLessThan(0.25);
    }
  });

  it('sets a tie aside that is grossly wrong', () => {
    const edge = edgeOf(turned, 0, 1, { noisePx: 0.02 });
    const ties = edge.edge.ties.map((t, k) => (k === 3 ? { ...t, fixedX: t.fixedX + 5 } : t));
    const clean = worst(solvePlacement([0, 1], [edge], sizes(2), 0).poses, turned.slice(0, 2));
    const spoilt = solvePlacement([0, 1], [{ ...edge, edge: { ...edge.edge, ties } }], sizes(2), 0);
    // Plain least squares would move the strip by 5 px over the number of ties, and its corners by more.
    expect(ties.length).toBeGreaterThan(20);
    expect(worst(spoilt.poses, turned.slice(0, 2))).toBeLessThan(clean + 0.08);
  });

  it('outvotes an edge that is wrong as a whole when others close the loop', () => {
    const close = [
      poseAbout(centre, { shiftX: 0, shiftY: 0 }),
      poseAbout(centre, { shiftX: 30, shiftY: 300, rotationDeg: 0.5 }),
      poseAbout(centre, { shiftX: -20, shiftY: 580, rotationDeg: -0.4 }),
    ];
    const edges = [
      edgeOf(close, 0, 1, { noisePx: 0.05 }),
      edgeOf(close, 1, 2, { noisePx: 0.05 }),
      edgeOf(close, 0, 2, { noisePx: 0.05, significance: 8, wrongBy: [0, 45] }),
    ];
    const { poses, edgeRmsPx } = solvePlacement([0, 1, 2], edges, sizes(3), 0);
    expect(worst(poses, close)).toBeLessThan(0.5);
    expect(edgeRmsPx[2]).toBeGreaterThan(20);
  });
});
