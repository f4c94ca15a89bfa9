import { DOF, eigenSymmetric, multiply, sandwich } from './graph-matrix.js';
import { createComparison } from './graph-pose.js';
import type { Link, Problem } from './graph-problem.js';
import { compareLink, misfit, type Solved } from './graph-system.js';

/** How a link agrees with the solve of all others. */
export interface LinkCheck {
  /** Its residual, predicted less measured, in its five parameters, and that against the solve without it. */
  readonly residual: Float64Array;
  readonly heldOut: Float64Array;
  /** Squared misfit of the residual by the link's own covariance. */
  readonly misfit2: number;
  /** Squared misfit of the held-out error by its covariance, and the dimensions that others determine. */
  readonly distance2: number;
  readonly dimensions: number;
  /** `distance2` over its limit; 0 when nothing can be tested. */
  readonly ratio: number;
}

/** Directions in which the others determine less than this share of what the link says are not tested. */
const LEAST_REDUNDANCY = 1e-5;

/**
 * Checks a link whose ends are in one component, in closed form: the solve without a used link differs from the one
 * with it by what its residual's covariance C − JΣJᵀ tells (as in leave-one-out regression). A link that was not used
 * is compared as it is, with C + JΣJᵀ.
 */
export function checkLink(problem: Problem, solved: Solved, link: Link, used: boolean): LinkCheck {
  const comparison = createComparison();
  compareLink(problem, solved.poses, link, comparison);
  const { rank, whitener, unwhitener } = link;
  const predicted = sandwich(whitener, predictedCovariance(problem, solved, link), rank, DOF);
  const spread = predicted.map((v, k) => (k % (rank + 1) === 0 ? 1 : 0) + (used ? -v : v));
  const { values, vectors } = eigenSymmetric(spread, rank);
  const white = multiply(whitener, comparison.residual, rank, DOF, 1);
  const held = new Float64Array(rank);
  let distance2 = 0;
  let dimensions = 0;
  for (let d = 0; d < rank; d++) {
    if (!(values[d]! > LEAST_REDUNDANCY)) continue;
    let along = 0;
    for (let k = 0; k < rank; k++) along += vectors[d * rank + k]! * white[k]!;
    distance2 += (along * along) / values[d]!;
    dimensions++;
    const scale = used ? values[d]! : 1;
    for (let k = 0; k < rank; k++) held[k]! += (vectors[d * rank + k]! * along) / scale;
  }
  return {
    residual: multiply(unwhitener, white, DOF, rank, 1),
    heldOut: multiply(unwhitener, held, DOF, rank, 1),
    misfit2: misfit(link, comparison.residual),
    distance2,
    dimensions,
    ratio: dimensions === 0 ? 0 : distance2 / problem.limits[dimensions]!,
  };
}

/** Covariance of what a solve says on a link's five parameters, 5 × 5. */
export function predictedCovariance(problem: Problem, solved: Solved, link: Link): Float64Array {
  const comparison = createComparison();
  compareLink(problem, solved.poses, link, comparison);
  const world = problem.strips.length;
  const sides = (
    [
      [link.fixed, comparison.byFixed],
      [link.moving, comparison.byMoving],
    ] as const
  ).filter(([strip]) => strip !== world);
  const width = sides.length * DOF;
  const jacobian = new Float64Array(DOF * width);
  const joint = new Float64Array(width * width);
  sides.forEach(([i, by], a) => {
    for (let r = 0; r < DOF; r++) for (let p = 0; p < DOF; p++) jacobian[r * width + a * DOF + p] = by[r * DOF + p]!;
    sides.forEach(([j], b) => {
      const block = solved.covariance(i, j);
      for (let p = 0; p < DOF; p++)
        for (let q = 0; q < DOF; q++) joint[(a * DOF + p) * width + b * DOF + q] = block[p * DOF + q]!;
    });
  });
  return sandwich(jacobian, joint, DOF, width);
}

/** Root mean square over the corners of the overlap, px, of what five parameters move. */
export function cornersPx(link: Link, p: ArrayLike<number>): number {
  const w = link.halfWidthPx;
  const h = link.halfHeightPx;
  const tall = p[3]! + p[4]!;
  return Math.sqrt(p[0]! ** 2 + p[1]! ** 2 + p[2]! ** 2 * (w * w + h * h) + p[3]! ** 2 * w * w + tall ** 2 * h * h);
}

/** Links whose removal would cut a component in two. */
export function bridgesOf(problem: Problem, links: Iterable<Link>): Set<Link> {
  const nodes = problem.strips.length + 1;
  const near: Link[][] = Array.from({ length: nodes }, () => []);
  for (const l of links) {
    near[l.fixed]!.push(l);
    near[l.moving]!.push(l);
  }
  const seen = new Int32Array(nodes).fill(-1);
  const low = new Int32Array(nodes);
  const bridges = new Set<Link>();
  let clock = 0;
  const visit = (node: number, via: Link | null): void => {
    seen[node] = clock;
    low[node] = clock++;
    for (const l of near[node]!) {
      if (l === via) continue;
      const next = l.fixed === node ? l.moving : l.fixed;
      if (seen[next] !== -1) {
        low[node] = Math.min(low[node]!, seen[next]!);
        continue;
      }
      visit(next, l);
      if (low[next]! > seen[node]!) bridges.add(l);
      low[node] = Math.min(low[node]!, low[next]!);
    }
  };
  for (let node = 0; node < nodes; node++) if (seen[node] === -1) visit(node, null);
  return bridges;
}
