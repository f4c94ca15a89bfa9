import { describe, expect, it } from 'vitest';
import { edgeBetween, MIDDLE, middleOf, overlappingPairs, STRIP, stripPoses } from '../../test/graph-scene.js';
import { poseDistancePx } from '../../test/scene-field.js';
import { type Affine, applyX, applyY, compose, invert, poseAbout } from '../compute/affine.js';
import { createRandom } from '../compute/random.js';
import { solveGraph } from './graph.js';
import type { GraphEdge, GraphFix, GraphSolution } from './graph-types.js';

const stripsOf = (truth: readonly Affine[]) => truth.map(() => STRIP);
const apart = (a: Affine, b: Affine): number => poseDistancePx(a, b, STRIP.widthPx, STRIP.heightPx);
const aside = (pose: Affine, shiftX: number, shiftY: number): Affine => poseAbout(middleOf(pose), { shiftX, shiftY });

/** No figure of a solution is NaN or infinite. */
function expectFinite(found: GraphSolution): void {
  const text = JSON.stringify(found, (_, v) => (typeof v === 'number' && !Number.isFinite(v) ? 'BAD' : v));
  expect(text).not.toContain('BAD');
}

describe('solveGraph on chains', () => {
  const random = createRandom('chains');
  const truth = [0, 1, 2, 3].map((k) =>
    poseAbout(MIDDLE, { shiftX: 740 * k, shiftY: 15 * k, rotationDeg: [0, 2.5, -3, 1][k]! }),
  );

  it.each([2, 3, 4])('places a chain of %i strips exactly and says that nothing tests it', (count) => {
    const edges = Array.from({ length: count - 1 }, (_, k) =>
      edgeBetween(truth, k % 2 === 0 ? k : k + 1, k % 2 === 0 ? k + 1 : k, random, { noise: 0, probability: 0.9 }),
    );
    const found = solveGraph(stripsOf(truth.slice(0, count)), edges, { reference: 0 });
    expectFinite(found);
    expect(found.groups).toEqual([{ strips: Array.from({ length: count }, (_, k) => k), reference: 0 }]);
    found.strips.forEach((s, k) => {
      // Exact edges: only rounding is left. The priors on scale and squeeze agree with the truth.
      expect(apart(s.pose!, truth[k]!)).toBeLessThan(1e-6);
      expect(s.probability).toBeCloseTo(0.9 ** k, 12);
      expect(s.reason).toBeNull();
    });
    expect(found.untested).toEqual(edges.map((_, k) => k));
    expect(found.bridges).toEqual(found.untested);
    for (const v of found.edges) expect(v).toMatchObject({ kept: true, tested: false, bridge: true, heldOutPx: null });
    expect(found.loops).toBe(0);
  });

  it('gives each of two parted groups a space of its own, the largest first', () => {
    const edges = [edgeBetween(truth, 2, 3, random), edgeBetween(truth, 0, 1, random)];
    const lone = [...truth, truth[0]!, aside(truth[1]!, 0, 500)];
    edges.push(edgeBetween(lone, 1, 5, random));
    const found = solveGraph(stripsOf(lone), edges);
    expect(found.groups.map((g) => g.strips)).toEqual([
      [0, 1, 5],
      [2, 3],
    ]);
    expect(found.strips.map((s) => s.group)).toEqual([0, 0, 1, 1, -1, 0]);
    expect(found.strips[4]).toMatchObject({ pose: null, reason: 'NO_EDGE', probability: 0 });
    for (const { reference } of found.groups) {
      const { xx, yx, tx, ty } = found.strips[reference!]!.pose!;
      // The reference is where its own px are, but for its scale and squeeze, which the priors hold.
      expect(Math.hypot(xx - 1, yx)).toBeLessThan(1e-4);
      expect(Math.hypot(tx, ty)).toBeLessThan(1);
    }
    expectFinite(found);
  });

  it('is empty for no strips and says NO_EDGE for one', () => {
    expect(solveGraph([], []).groups).toEqual([]);
    const one = solveGraph([STRIP], []);
    expect(one.strips[0]!.reason).toBe('NO_EDGE');
    expectFinite(one);
  });
});

describe('solveGraph on loops', () => {
  const ring = Array.from({ length: 8 }, (_, k) =>
    poseAbout(MIDDLE, {
      shiftX: 1200 * (Math.cos((k * Math.PI) / 4) - 1),
      shiftY: 900 * Math.sin((k * Math.PI) / 4),
      rotationDeg: k === 0 ? 0 : 3 * Math.sin(2.1 * k),
    }),
  );
  const ringEdges = (name: string, wrong?: number, probability = 0.8): GraphEdge[] => {
    const random = createRandom(name);
    return ring.map((_, k) => {
      const moving = (k + 1) % 8;
      return edgeBetween(ring, k, moving, random, {
        probability: k === wrong ? probability : 0.8,
        ...(k === wrong ? { wrong: aside(ring[moving]!, 30, -20) } : {}),
      });
    });
  };

  it('closes a ring of 8, all of it tested and none of it a bridge', () => {
    const found = solveGraph(stripsOf(ring), ringEdges('ring'), { reference: 0 });
    expect(found.edges.every((v) => v.kept && v.tested && !v.bridge)).toBe(true);
    expect(found.untested).toEqual([]);
    // Turns of 1.4e-4 rad over levers of 2000 px, and the squeeze of 8e-4 that no edge sees in common.
    found.strips.forEach((s, k) => {
      expect(apart(s.pose!, ring[k]!)).toBeLessThan(1.5);
    });
    expectFinite(found);
  });

  it('opens a ring that does not close at its least trusted edge and tells what is left to doubt', () => {
    const found = solveGraph(stripsOf(ring), ringEdges('ring', 5, 0.2), { reference: 0 });
    expect(found.edges.map((v) => v.kept)).toEqual([0, 1, 2, 3, 4, 5, 6, 7].map((k) => k !== 5));
    expect(found.edges[5]).toMatchObject({ kept: false, reason: 'LOOP', probability: 0 });
    expect(found.edges[5]!.detail).toMatch(/^its loop misses by \d/);
    expect(found.untested.length).toBe(7);
    for (const v of found.edges.filter((e) => e.kept)) expect(v.probability).toBeLessThan(0.8);
  });

  it('names a strip that only false edges join, and leaves the others alone', () => {
    const random = createRandom('only false');
    const truth = stripPoses(3, 3, random);
    const pairs = overlappingPairs(truth, random);
    const lost = 4;
    const edges = pairs.map(([f, m], k) =>
      edgeBetween(truth, f, m, random, {
        probability: f === lost || m === lost ? 0.99 : 0.7,
        ...(f === lost || m === lost ? { wrong: aside(truth[m]!, 90 * Math.cos(2 * k), 90 * Math.sin(2 * k)) } : {}),
      }),
    );
    const found = solveGraph(stripsOf(truth), edges);
    expect(found.strips[lost]).toMatchObject({ pose: null, group: -1, reason: 'ONLY_CONTRADICTED_EDGES' });
    expect(found.groups[0]!.strips).toEqual([0, 1, 2, 3, 5, 6, 7, 8]);
    found.edges.forEach((v, k) => {
      expect(v.kept).toBe(!pairs[k]!.includes(lost));
    });
    expectFinite(found);
  });

  it('counts duplicated edges once and keeps one of rivals', () => {
    const random = createRandom('rivals');
    const truth = stripPoses(2, 2, random);
    const pairs = overlappingPairs(truth, random);
    const edges = pairs.map(([f, m]) => edgeBetween(truth, f, m, random));
    const [f, m] = pairs[0]!;
    const rival = edgeBetween(truth, f, m, random, { wrong: aside(truth[m]!, 12, 5), sharp: 5, probability: 0.99 });
    const once = solveGraph(stripsOf(truth), edges, { reference: 0 });
    const found = solveGraph(stripsOf(truth), [...edges, ...edges, rival], { reference: 0 });
    const n = edges.length;
    expect(found.edges.slice(0, n).map((v) => v.reason)).toEqual(edges.map(() => null));
    expect(found.edges.slice(n, 2 * n).map((v) => v.reason)).toEqual(edges.map(() => 'DUPLICATE'));
    expect(found.edges[2 * n]!.reason).toBe('RIVAL');
    found.strips.forEach((s, k) => {
      expect(apart(s.pose!, once.strips[k]!.pose!)).toBeLessThan(1e-9);
    });
    expect(found.chi2).toBeCloseTo(once.chi2, 6);
  });

  it('predicts a held-out edge as the solve without it does', () => {
    const random = createRandom('held out');
    const truth = stripPoses(2, 3, random);
    const edges = overlappingPairs(truth, random).map(([f, m]) => edgeBetween(truth, f, m, random));
    const found = solveGraph(stripsOf(truth), edges, { reference: 0 });
    expect(found.edges.every((v) => v.kept && v.tested)).toBe(true);
    edges.forEach((e, k) => {
      const others = edges.filter((_, i) => i !== k);
      const without = solveGraph(stripsOf(truth), others, { reference: 0 });
      const told = compose(invert(without.strips[e.fixed]!.pose!), without.strips[e.moving]!.pose!);
      const back = invert(e.pose);
      let sum = 0;
      for (const sx of [-1, 1])
        for (const sy of [-1, 1]) {
          const x = applyX(e.pose, e.at.x, e.at.y) + sx * e.halfWidthPx;
          const y = applyY(e.pose, e.at.x, e.at.y) + sy * e.halfHeightPx;
          const p = { x: applyX(back, x, y), y: applyY(back, x, y) };
          sum += (applyX(told, p.x, p.y) - x) ** 2 + (applyY(told, p.x, p.y) - y) ** 2;
        }
      // Squeezes along two verticals that differ by 3° leave a shear of 8e-5, which no edge states: 0.02 px at 300 px.
      expect(Math.abs(Math.sqrt(sum / 4) - found.edges[k]!.heldOutPx!)).toBeLessThan(0.02);
    });
  });
});

describe('solveGraph with fixes', () => {
  const random = createRandom('fixes');
  const truth = stripPoses(2, 3, random);
  const at = { x: 400, y: 300 };
  const limb = (strip: number, sigmaPx: number, offX = 0): GraphFix => {
    const information = new Float64Array(25);
    information[0] = 1 / sigmaPx ** 2;
    information[6] = 1 / sigmaPx ** 2;
    const place = { x: truth[strip]!.xx * at.x + truth[strip]!.xy * at.y + truth[strip]!.tx, y: 0 };
    place.y = truth[strip]!.yx * at.x + truth[strip]!.yy * at.y + truth[strip]!.ty;
    const pose = poseAbout(at, { shiftX: place.x - at.x + offX, shiftY: place.y - at.y });
    return { strip, kind: 'LIMB', pose, at, halfWidthPx: 0, halfHeightPx: 0, information, probability: 0.95 };
  };
  const guide = (strip: number): GraphFix => {
    const information = Float64Array.from({ length: 25 }, (_, k) => [4, 0, 0, 0, 0, 0, 4, 0, 0, 0, 0, 0, 1e6][k] ?? 0);
    return { ...limb(strip, 1), kind: 'GUIDE', pose: truth[strip]!, at: MIDDLE, information };
  };

  it('joins groups that share no overlap in the space of the fixes', () => {
    const edges = overlappingPairs(truth, random)
      .filter((p) => !p.includes(1) && !p.includes(2))
      .map(([f, m]) => edgeBetween(truth, f, m, random));
    const found = solveGraph(stripsOf(truth), edges, {}, [guide(0), guide(1), limb(2, 0.5)]);
    expect(found.groups).toEqual([{ strips: [0, 1, 2, 3, 4, 5], reference: null }]);
    expect(found.fixes.every((v) => v.kept)).toBe(true);
    // A limb says nothing on the turn, of which only its prior of 5° is known; the others are within their σ of 0.5 px.
    for (const k of [0, 1]) expect(apart(found.strips[k]!.pose!, truth[k]!)).toBeLessThan(3);
    expect(Math.sqrt(found.strips[2]!.covariance[12]!)).toBeCloseTo((5 * Math.PI) / 180, 2);
    const m = found.strips[2]!.pose!;
    const seen = { x: m.xx * at.x + m.xy * at.y + m.tx, y: m.yx * at.x + m.yy * at.y + m.ty };
    const meant = truth[2]!.xx * at.x + truth[2]!.xy * at.y + truth[2]!.tx;
    expect(Math.abs(seen.x - meant)).toBeLessThan(1e-3);
    expectFinite(found);
  });

  it('tests a lone edge by fixes, and a fix by overlaps', () => {
    const lone = [edgeBetween(truth, 0, 1, random, { wrong: aside(truth[1]!, 200, 0), probability: 0.6 })];
    const two = solveGraph(stripsOf(truth).slice(0, 2), lone, {}, [guide(0), guide(1)]);
    expect(two.edges[0]).toMatchObject({ kept: false, reason: 'LOOP' });
    expect(two.groups[0]!.strips).toEqual([0, 1]);
    const edges = overlappingPairs(truth, random).map(([f, m]) => edgeBetween(truth, f, m, random));
    const found = solveGraph(stripsOf(truth), edges, {}, [guide(0), limb(1, 0.5), limb(3, 0.5, 60), limb(5, 0.5)]);
    expect(found.edges.every((v) => v.kept)).toBe(true);
    expect(found.fixes.map((v) => v.kept)).toEqual([true, true, false, true]);
    expect(found.fixes[2]!.reason).toBe('LOOP');
  });

  it('does not place what shifts only along a line', () => {
    const information = new Float64Array(25);
    information[0] = 1e4;
    const edge = { ...edgeBetween(truth, 0, 1, random), information };
    const found = solveGraph(stripsOf(truth).slice(0, 2), [edge], { reference: 0 });
    expect(found.strips[1]).toMatchObject({ pose: null, reason: 'UNDETERMINED' });
    expectFinite(found);
  });
});
