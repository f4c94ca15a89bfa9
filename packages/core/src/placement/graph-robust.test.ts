import { describe, expect, it } from 'vitest';
import { edgeBetween, falseGraph, overlappingPairs, STRIP, stripPoses } from '../../test/graph-scene.js';
import { poseDistancePx } from '../../test/scene-field.js';
import { createRandom } from '../compute/random.js';
import { solveGraph } from './graph.js';
import { shortLoops } from './graph-loops.js';
import { prepare } from './graph-problem.js';
import { GRAPH_DEFAULTS } from './graph-types.js';

describe('solveGraph with 15 % of the edges false', () => {
  it.each([
    ['that are wrong at random', false],
    ['that look better than the true ones and agree among themselves', true],
  ])('names all edges %s and places 40 strips as the true edges alone do', (name, hard) => {
    let lost = 0;
    let trueEdges = 0;
    for (let seed = 0; seed < 3; seed++) {
      const { truth, edges, isFalse } = falseGraph(4, 10, 0.15, hard, createRandom(`${name} ${seed}`));
      const strips = truth.map(() => STRIP);
      const found = solveGraph(strips, edges, { reference: 0 });
      const best = solveGraph(
        strips,
        edges.filter((_, k) => !isFalse[k]),
        { reference: 0 },
      );
      expect(found.groups[0]!.strips.length).toBe(40);
      found.strips.forEach((s, k) => {
        // The bar; when every true edge is kept the two agree to rounding.
        expect(poseDistancePx(s.pose!, best.strips[k]!.pose!, STRIP.widthPx, STRIP.heightPx)).toBeLessThan(0.1);
      });
      found.edges.forEach((v, k) => {
        if (isFalse[k]) {
          expect(v.kept).toBe(false);
          expect(v.detail).not.toBe('');
        } else {
          trueEdges++;
          if (!v.kept) lost++;
        }
      });
    }
    // Each of some 300 true edges fails its held-out test by chance with 0.1 %: more than 3 have a chance of 0.03 %.
    expect(trueEdges).toBeGreaterThan(250);
    expect(lost).toBeLessThan(4);
  });
});

describe('solveGraph on 60 strips', () => {
  it('gives the same answer when strips and edges come in another order', () => {
    const random = createRandom('sixty strips');
    const { truth, edges, isFalse } = falseGraph(6, 10, 0.15, true, random);
    const shuffled = (n: number): number[] =>
      Array.from({ length: n }, (_, k) => ({ k, at: random.uniform() }))
        .sort((a, b) => a.at - b.at)
        .map(({ k }) => k);
    const goes = shuffled(truth.length);
    const rows = shuffled(edges.length);
    const strips = truth.map(() => STRIP);
    const found = solveGraph(strips, edges, { reference: 0 });
    const given = rows.map((r) => ({ ...edges[r]!, fixed: goes[edges[r]!.fixed]!, moving: goes[edges[r]!.moving]! }));
    const other = solveGraph(strips, given, { reference: goes[0]! });
    expect(found.groups[0]!.strips.length).toBe(60);
    found.strips.forEach((s, k) => {
      const again = other.strips[goes[k]!]!.pose!;
      expect(poseDistancePx(s.pose!, again, STRIP.widthPx, STRIP.heightPx)).toBeLessThan(1e-9);
    });
    rows.forEach((r, k) => {
      expect(other.edges[k]!.reason).toBe(found.edges[r]!.reason);
      expect(found.edges[r]!.kept && isFalse[r]).toBe(false);
    });
  });
});

describe('the stated covariances', () => {
  it('fit the errors of loops, edges and poses', () => {
    let loopSum = 0;
    let loopDimensions = 0;
    let open = 0;
    let loops = 0;
    let chi2 = 0;
    let degrees = 0;
    for (let seed = 0; seed < 12; seed++) {
      const random = createRandom(`covariances ${seed}`);
      const truth = stripPoses(3, 5, random);
      const strips = truth.map(() => STRIP);
      const edges = overlappingPairs(truth, random).map(([f, m]) => edgeBetween(truth, f, m, random));
      const problem = prepare(strips, edges, GRAPH_DEFAULTS, []);
      for (const { test } of shortLoops(problem, problem.links)) {
        loopSum += test.distance2;
        loopDimensions += test.dimensions;
        loops++;
        if (test.ratio > 1) open++;
      }
      const found = solveGraph(strips, edges, { reference: 0 });
      chi2 += found.chi2;
      degrees += found.degreesOfFreedom;
    }
    // Loops share edges; over 12 graphs the mean of d² per dimension scatters by some 5 %.
    expect(loopSum / loopDimensions).toBeGreaterThan(0.85);
    expect(loopSum / loopDimensions).toBeLessThan(1.15);
    expect(open / loops).toBeLessThan(0.005);
    // σ of χ²/ν is √(2/ν), 3 % here; what the tests cut off is less.
    expect(chi2 / degrees).toBeGreaterThan(0.9);
    expect(chi2 / degrees).toBeLessThan(1.1);
  });
});
