import { describe, expect, it } from 'vitest';
import { MIDDLE, STRIP } from '../../test/graph-scene.js';
import { poseDistancePx } from '../../test/scene-field.js';
import { type Affine, applyX, applyY, compose, invert, poseAbout } from '../compute/affine.js';
import { createRandom } from '../compute/random.js';
import type { StripEdge, TiePoint } from './edge.js';
import { solveGraph } from './graph.js';
import { graphEdgeFromTies } from './graph-from-ties.js';

const truth = poseAbout(MIDDLE, { shiftX: 720, shiftY: 90, rotationDeg: 2.2, scale: 1.0002, squeeze: 1.0009 });
const rough = poseAbout(MIDDLE, { shiftX: 721, shiftY: 88.8, rotationDeg: 2.1 });

/** An overlap of count ties at random points, with noise of sigmaPx per axis; every wildEvery-th is off by pixels. */
function overlap(name: string, count: number, sigmaPx: number, wildEvery = 0): StripEdge {
  const random = createRandom(name);
  const ties: TiePoint[] = Array.from({ length: count }, (_, k) => {
    const movingX = 20 + 240 * random.uniform();
    const movingY = 30 + 540 * random.uniform();
    const wild = wildEvery > 0 && k % wildEvery === 1 ? 3 : 0;
    return {
      fixedX: applyX(truth, movingX, movingY) + sigmaPx * random.normal() + wild,
      fixedY: applyY(truth, movingX, movingY) + sigmaPx * random.normal() - wild,
      movingX,
      movingY,
      variance: 1e-6,
    };
  });
  return edgeOf(rough, ties);
}

function edgeOf(pose: Affine, ties: readonly TiePoint[]): StripEdge {
  return {
    pose,
    lock: { pose, correlation: 0.8, overlap: 0.3, significance: 20 },
    correlation: 0.8,
    ties,
    spreadPx: 0,
  };
}

/** Squared error of the five parameters by the stated information, against the true pose. */
function misfit(found: { pose: Affine; at: { x: number; y: number }; information: ArrayLike<number> }): number {
  const { pose, at } = found;
  const det = truth.xx * truth.yy - truth.xy * truth.yx;
  const l = {
    xx: (pose.xx * truth.yy - pose.xy * truth.yx) / det,
    xy: (pose.xy * truth.xx - pose.xx * truth.xy) / det,
    yx: (pose.yx * truth.yy - pose.yy * truth.yx) / det,
    yy: (pose.yy * truth.xx - pose.yx * truth.xy) / det,
  };
  const e = [
    applyX(pose, at.x, at.y) - applyX(truth, at.x, at.y),
    applyY(pose, at.x, at.y) - applyY(truth, at.x, at.y),
    (l.yx - l.xy) / 2,
    l.xx - 1,
    l.yy - l.xx,
  ];
  let sum = 0;
  for (let i = 0; i < 5; i++) for (let j = 0; j < 5; j++) sum += e[i]! * found.information[i * 5 + j]! * e[j]!;
  return sum;
}

describe('graphEdgeFromTies', () => {
  it('is exact for exact ties', () => {
    const found = graphEdgeFromTies(0, 1, overlap('exact', 30, 0), 0.9)!;
    expect(poseDistancePx(found.pose, truth, STRIP.widthPx, STRIP.heightPx)).toBeLessThan(1e-6);
    expect(found).toMatchObject({ fixed: 0, moving: 1, probability: 0.9 });
    expect(found.halfHeightPx).toBeGreaterThan(200);
    expect(found.halfHeightPx).toBeLessThan(270);
  });

  it.each([
    ['clean ties', 0],
    ['every sixth tie wild', 6],
  ])('states the information that its errors have: %s', (name, wildEvery) => {
    let sum = 0;
    const trials = 300;
    const settings = { independentTies: 100, leastWarpPx: 1e-3, cauchy: 2.385 };
    for (let k = 0; k < trials; k++)
      sum += misfit(graphEdgeFromTies(0, 1, overlap(`${name} ${k}`, 24, 0.1, wildEvery), 0.9, settings)!);
    // Five dimensions; the mean of 300 has a σ of 0.18. The loss costs 5 %, the spread is known to some 15 %.
    expect(sum / trials).toBeGreaterThan(3.8);
    expect(sum / trials).toBeLessThan(7);
  });

  it('counts many ties as no more than ten', () => {
    const few = graphEdgeFromTies(0, 1, overlap('few', 10, 0.1), 0.9)!;
    const many = graphEdgeFromTies(0, 1, overlap('many', 200, 0.1), 0.9)!;
    // The spread of ten ties is known to a third of its square.
    expect(many.information[0]! / few.information[0]!).toBeGreaterThan(0.4);
    expect(many.information[0]! / few.information[0]!).toBeLessThan(2.2);
  });

  it('leaves unmeasured what too few ties measure', () => {
    const { ties } = overlap('few ties', 3, 0.02);
    const three = graphEdgeFromTies(0, 1, edgeOf(rough, ties), 0.9)!;
    expect([18, 24].map((k) => three.information[k])).toEqual([0, 0]);
    expect(three.information[12]).toBeGreaterThan(0);
    const one = graphEdgeFromTies(0, 1, edgeOf(rough, ties.slice(0, 1)), 0.9)!;
    expect([12, 18, 24].map((k) => one.information[k])).toEqual([0, 0, 0]);
    expect(applyX(one.pose, ties[0]!.movingX, ties[0]!.movingY)).toBeCloseTo(ties[0]!.fixedX, 9);
    expect(graphEdgeFromTies(0, 1, edgeOf(rough, []), 0.9)).toBeNull();
  });

  it('gives edges that solveGraph takes, ties in one line and in one point too', () => {
    const { ties } = overlap('line', 12, 0.02);
    const line = ties.map((t) => {
      const movingY = 300;
      const fixedX = applyX(truth, t.movingX, movingY);
      return { ...t, movingY, fixedX, fixedY: applyY(truth, t.movingX, movingY) };
    });
    for (const set of [ties, line, line.map(() => line[0]!)]) {
      const edge = graphEdgeFromTies(0, 1, edgeOf(rough, set), 0.9)!;
      const found = solveGraph([STRIP, STRIP], [edge], { reference: 0 });
      expect(found.edges[0]!.kept).toBe(true);
      const pose = compose(invert(found.strips[0]!.pose!), found.strips[1]!.pose!);
      // At a tie, whatever else is left open; the priors on scale and squeeze take a few hundredths of a px.
      expect(Math.abs(applyX(pose, set[0]!.movingX, set[0]!.movingY) - set[0]!.fixedX)).toBeLessThan(0.2);
    }
  });
});
