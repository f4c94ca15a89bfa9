import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { edgeBetween, MIDDLE, middleOf, overlappingPairs, STRIP, stripPoses } from '../../test/graph-scene.js';
import { poseDistancePx } from '../../test/scene-field.js';
import { type Affine, compose, poseAbout } from '../compute/affine.js';
import { createRandom } from '../compute/random.js';
import { UsageError } from '../job/errors.js';
import { solveGraph } from './graph.js';
import type { GraphEdge, GraphSolution } from './graph-types.js';

const stripsOf = (truth: readonly Affine[]) => truth.map(() => STRIP);
const apart = (a: Affine, b: Affine): number => poseDistancePx(a, b, STRIP.widthPx, STRIP.heightPx);
const aside = (pose: Affine, shiftX: number, shiftY: number): Affine => poseAbout(middleOf(pose), { shiftX, shiftY });

/** No figure of a solution is NaN or infinite. */
function expectFinite(found: GraphSolution): void {
  const text = JSON.stringify(found, (_, v) => (typeof v === 'number' && !Number.isFinite(v) ? 'BAD' : v));
  expect(text).not.toContain('BAD');
}

describe('solveGraph and its input', () => {
  const random = createRandom('input');
  const truth = stripPoses(3, 4, random);
  const pairs = overlappingPairs(truth, random);
  const edges = pairs.map(([f, m], k) =>
    edgeBetween(
      truth,
      f,
      m,
      random,
      k % 8 === 3 ? { wrong: aside(truth[m]!, 40, 9 * k), sharp: 4, probability: 0.99 } : {},
    ),
  );

  it('gives the same answer for any order of strips and edges', () => {
    const found = solveGraph(stripsOf(truth), edges);
    const order = (n: number) =>
      fc.shuffledSubarray(
        Array.from({ length: n }, (_, k) => k),
        { minLength: n },
      );
    fc.assert(
      fc.property(order(truth.length), order(edges.length), (strips, rows) => {
        // strips[k]: where strip k goes.
        const given = rows.map((r) => ({
          ...edges[r]!,
          fixed: strips[edges[r]!.fixed]!,
          moving: strips[edges[r]!.moving]!,
        }));
        const other = solveGraph(stripsOf(truth), given);
        found.strips.forEach((s, k) => {
          expect(apart(other.strips[strips[k]!]!.pose!, s.pose!)).toBeLessThan(1e-9);
        });
        rows.forEach((r, k) => {
          expect(other.edges[k]!.kept).toBe(found.edges[r]!.kept);
          expect(other.edges[k]!.reason).toBe(found.edges[r]!.reason);
        });
        expect(other.chi2).toBeCloseTo(found.chi2, 9);
      }),
      { seed: 5, numRuns: 12 },
    );
  });

  it('is deterministic and leaves its input as it was', () => {
    const before = JSON.stringify(edges);
    expect(JSON.stringify(solveGraph(stripsOf(truth), edges))).toBe(JSON.stringify(solveGraph(stripsOf(truth), edges)));
    expect(JSON.stringify(edges)).toBe(before);
  });

  it('leaves out edges that are no measurement', () => {
    const good = edges[0]!;
    const bad: [GraphEdge, RegExp][] = [
      [{ ...good, pose: { ...good.pose, tx: Number.NaN } }, /not finite/],
      [{ ...good, information: Float64Array.from(good.information).map((v) => -v) }, /positive/],
      [{ ...good, information: [1, 2] }, /25 are needed/],
      [{ ...good, probability: 1.5 }, /1\.5; 0 to 1/],
      [{ ...good, pose: { ...good.pose, xx: -good.pose.xx } }, /mirrors/],
      [{ ...good, halfWidthPx: -1 }, /negative/],
    ];
    const found = solveGraph(stripsOf(truth), [...edges, ...bad.map(([e]) => e)]);
    bad.forEach(([, message], k) => {
      expect(found.edges[edges.length + k]!.reason).toBe('MALFORMED');
      expect(found.edges[edges.length + k]!.detail).toMatch(message);
    });
    expectFinite(found);
  });

  it('refuses indices, sizes and settings out of range', () => {
    const strips = stripsOf(truth);
    const edge = edges[0]!;
    const message = (run: () => unknown): string => {
      try {
        run();
      } catch (error) {
        expect(error).toBeInstanceOf(UsageError);
        return (error as Error).message;
      }
      return '';
    };
    expect(message(() => solveGraph(strips, [{ ...edge, moving: 12 }]))).toMatch(
      /^Edge 0 joins strips \d+ and 12; give/,
    );
    expect(message(() => solveGraph(strips, [{ ...edge, moving: edge.fixed }]))).toMatch(/^Edge 0 joins/);
    expect(message(() => solveGraph([{ widthPx: 0, heightPx: 5 }], []))).toMatch(/^Strip 0 is 0 x 5 px/);
    expect(message(() => solveGraph(strips, edges, { falseAlarm: 0 }))).toMatch(/^falseAlarm is 0/);
    expect(message(() => solveGraph(strips, edges, { reference: -1 }))).toMatch(/^reference is -1/);
    expect(message(() => solveGraph(strips, edges, { scaleSigma: Number.NaN }))).toMatch(/^scaleSigma is NaN/);
  });

  it('never is NaN, whatever the figures', () => {
    const number = fc.oneof(fc.double({ min: -1e4, max: 1e4, noNaN: true }), fc.constantFrom(0, 1e9, -1e9, 1e-12));
    const any: fc.Arbitrary<GraphEdge> = fc
      .record({
        ends: fc.shuffledSubarray([0, 1, 2, 3], { minLength: 2, maxLength: 2 }),
        tx: number,
        ty: number,
        turn: fc.double({ min: -180, max: 180, noNaN: true }),
        scale: fc.double({ min: 0.01, max: 50, noNaN: true }),
        diagonal: fc.array(fc.constantFrom(0, 1e-9, 1, 1e6, 1e12), { minLength: 5, maxLength: 5 }),
        probability: fc.double({ min: 0, max: 1, noNaN: true }),
      })
      .map(({ ends, tx, ty, turn, scale, diagonal, probability }) => ({
        fixed: ends[0]!,
        moving: ends[1]!,
        pose: compose(
          { xx: 1, xy: 0, yx: 0, yy: 1, tx, ty },
          poseAbout(MIDDLE, { shiftX: 0, shiftY: 0, rotationDeg: turn, scale }),
        ),
        at: { x: 100, y: 100 },
        halfWidthPx: 50,
        halfHeightPx: 50,
        information: Array.from({ length: 25 }, (_, k) => (k % 6 === 0 ? diagonal[k / 6]! : 0)),
        probability,
      }));
    fc.assert(
      fc.property(fc.array(any, { maxLength: 9 }), (list) => {
        expectFinite(solveGraph([STRIP, STRIP, STRIP, STRIP], list));
      }),
      { seed: 8, numRuns: 150 },
    );
  });
});
