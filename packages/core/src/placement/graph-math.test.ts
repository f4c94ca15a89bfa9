import { describe, expect, it } from 'vitest';
import { type Affine, poseAbout } from '../compute/affine.js';
import { createRandom } from '../compute/random.js';
import { invertSymmetric } from '../compute/small-solve.js';
import { chi2Limit, chi2Tail } from './graph-chi2.js';
import {
  createEnvelope,
  factorEnvelope,
  invertEnvelope,
  narrowOrder,
  seat,
  substituteEnvelope,
} from './graph-envelope.js';
import { eigenSymmetric } from './graph-matrix.js';
import { compare, createComparison, poseOf, setPose } from './graph-pose.js';

describe('chi2', () => {
  it('has the values of scipy.stats.chi2 (sf, isf)', () => {
    const limits = [10.827566170662733, 13.815510557964274, 16.26623619623813, 18.466826952903173, 20.515005652432876];
    limits.forEach((value, k) => {
      expect(chi2Limit(1e-3, k + 1)).toBeCloseTo(value, 9);
    });
    for (const [value, dimensions, tail] of [
      [0.3, 1, 0.583882420770365],
      [7.1, 3, 0.06877781936579971],
      [11.07, 5, 0.050009618622405425],
      [40, 4, 4.328422607120966e-8],
      [3, 2, 0.22313016014842982],
    ] as const)
      expect(chi2Tail(value, dimensions) / tail).toBeCloseTo(1, 10);
  });
});

describe('eigenSymmetric', () => {
  it('puts a matrix together again from orthonormal rows', () => {
    const random = createRandom('eigen');
    for (let trial = 0; trial < 30; trial++) {
      const n = 1 + (trial % 5);
      const half = Float64Array.from({ length: n * n }, () => random.normal());
      const matrix = half.map((v, k) => v + half[(k % n) * n + Math.floor(k / n)]!);
      const { values, vectors } = eigenSymmetric(matrix, n);
      for (let i = 0; i < n; i++)
        for (let j = 0; j < n; j++) {
          let entry = 0;
          let dot = 0;
          for (let d = 0; d < n; d++) {
            entry += values[d]! * vectors[d * n + i]! * vectors[d * n + j]!;
            dot += vectors[i * n + d]! * vectors[j * n + d]!;
          }
          expect(entry).toBeCloseTo(matrix[i * n + j]!, 10);
          expect(dot).toBeCloseTo(i === j ? 1 : 0, 12);
        }
    }
  });
});

describe('compare', () => {
  const centre = { x: 499.5, y: 349.5 };
  const state = Float64Array.of(500, 350, 0.04, 2e-4, -1e-3, 1230, 410, -0.03, -1e-4, 9e-4);
  const pose = poseAbout(centre, { shiftX: 729, shiftY: 61, rotationDeg: -4.1, scale: 1.0003, squeeze: 1.0008 });
  const at = { x: 120, y: 300 };
  const det = pose.xx * pose.yy - pose.xy * pose.yx;
  const inverse: Affine = {
    xx: pose.yy / det,
    xy: -pose.xy / det,
    yx: -pose.yx / det,
    yy: pose.xx / det,
    tx: 0,
    ty: 0,
  };
  const seenAt = {
    x: pose.xx * at.x + pose.xy * at.y + pose.tx,
    y: pose.yx * at.x + pose.yy * at.y + pose.ty,
  };
  const at1 = (s: Float64Array) => {
    const out = createComparison();
    compare({ pose, inverse, at, seenAt }, poseOf(s, 0, centre), centre, poseOf(s, 1, centre), centre, out);
    return out;
  };

  it('has the derivatives of finite differences', () => {
    const { byFixed, byMoving } = at1(state);
    for (let p = 0; p < 10; p++) {
      const h = p % 5 < 2 ? 1e-3 : 1e-6;
      const [up, down] = [1, -1].map((sign) => at1(state.map((v, k) => (k === p ? v + sign * h : v))).residual);
      for (let r = 0; r < 5; r++) {
        const slope = (up![r]! - down![r]!) / (2 * h);
        const stated = p < 5 ? byFixed[r * 5 + p]! : byMoving[r * 5 + p - 5]!;
        // Shift rows reach 700 px per radian; the parameters of the linear part are exact where they vanish.
        expect(Math.abs(slope - stated)).toBeLessThan(r < 2 ? 1e-4 : 5e-3);
      }
    }
  });

  it('reads back the five numbers of a pose', () => {
    const again = new Float64Array(10);
    for (const s of [0, 1]) setPose(again, s, centre, poseOf(state, s, centre));
    again.forEach((v, k) => {
      // The turn is read from both rows and takes a little of the squeeze: 1e-3 · 0.04 rad to second order.
      expect(Math.abs(v - state[k]!)).toBeLessThan(k % 5 === 2 ? 1e-7 : 1e-9);
    });
  });
});

describe('envelope', () => {
  const random = createRandom('envelope');
  const joins = Array.from({ length: 60 }, () => {
    const a = Math.floor(30 * random.uniform());
    return [a, Math.min(29, a + 1 + Math.floor(3 * random.uniform()))] as const;
  }).filter(([a, b]) => a !== b);
  const matrix = new Float64Array(900);
  for (const [a, b] of joins) {
    const value = random.normal();
    matrix[a * 30 + b]! += value;
    matrix[b * 30 + a]! += value;
    for (const k of [a, b]) matrix[k * 31]! += Math.abs(value);
  }
  for (let k = 0; k < 30; k++) matrix[k * 31]! += 1;

  it('solves and inverts as the dense factor does', () => {
    const first = Array.from({ length: 30 }, (_, i) => {
      let j = 0;
      while (j < i && matrix[i * 30 + j] === 0) j++;
      return j;
    });
    const e = createEnvelope(first);
    for (let i = 0; i < 30; i++) for (let j = first[i]!; j <= i; j++) e.values[seat(e, i, j)] = matrix[i * 30 + j]!;
    expect(factorEnvelope(e)).toBe(true);
    const dense = invertSymmetric(matrix, 30)!;
    invertEnvelope(e).forEach((v, k) => {
      expect(v).toBeCloseTo(dense[k]!, 11);
    });
    const right = Float64Array.from({ length: 30 }, () => random.normal());
    const solved = Float64Array.from(right);
    substituteEnvelope(e, solved);
    for (let i = 0; i < 30; i++) {
      let sum = 0;
      for (let j = 0; j < 30; j++) sum += matrix[i * 30 + j]! * solved[j]!;
      expect(sum).toBeCloseTo(right[i]!, 11);
    }
  });

  it('says so when the matrix is not positive definite', () => {
    const e = createEnvelope([0, 0]);
    e.values.set([1, 2, 1]);
    expect(factorEnvelope(e)).toBe(false);
  });

  it('orders a shuffled chain so that neighbours are next to each other', () => {
    const shuffled = [3, 0, 4, 1, 5, 2];
    const chain = shuffled.slice(1).map((s, k) => [shuffled[k]!, s] as const);
    const order = narrowOrder(7, chain);
    expect([...order].sort((a, b) => a - b)).toEqual([0, 1, 2, 3, 4, 5, 6]);
    for (const [a, b] of chain) expect(Math.abs(order.indexOf(a) - order.indexOf(b))).toBe(1);
  });
});
