import { type Affine, compose, IDENTITY } from '../compute/affine.js';
import {
  createEnvelope,
  type Envelope,
  factorEnvelope,
  invertEnvelope,
  narrowOrder,
  seat,
  substituteEnvelope,
} from './graph-envelope.js';
import { DOF } from './graph-matrix.js';
import { type Comparison, compare, createComparison, type Point, poseOf, setPose } from './graph-pose.js';
import type { Link, Problem } from './graph-problem.js';
import { type Forest, otherEnd } from './graph-tree.js';

/** Strips joined by links, and what defines their space: one of them, or the common space itself (reference −1). */
export interface Component {
  readonly strips: readonly number[];
  readonly reference: number;
}

/** Poses, the links that they follow from, and their joint covariance. */
export interface Solved {
  readonly state: Float64Array;
  /** The poses of the state, that of the common space last. */
  readonly poses: readonly Affine[];
  readonly components: readonly Component[];
  readonly componentOf: readonly number[];
  /** Covariance of the five numbers of strips i and j, 5 × 5 row-major. Zero for what a reference fixes. */
  readonly covariance: (i: number, j: number) => Float64Array;
}

const ORIGIN: Point = { x: 0, y: 0 };

/** Strips joined by the links; the largest first, the common space's own before others of its size. */
export function componentsOf(problem: Problem, links: Iterable<Link>): Component[] {
  const n = problem.strips.length;
  const near: number[][] = Array.from({ length: n + 1 }, () => []);
  const degree = new Float64Array(n + 1);
  for (const l of links) {
    near[l.fixed]!.push(l.moving);
    near[l.moving]!.push(l.fixed);
    degree[l.fixed]!++;
    degree[l.moving]!++;
  }
  const seen = new Set<number>();
  const components: Component[] = [];
  for (let from = n; from >= 0; from--) {
    if (seen.has(from)) continue;
    const members = [from];
    seen.add(from);
    for (let k = 0; k < members.length; k++)
      for (const next of near[members[k]!]!)
        if (!seen.has(next)) {
          seen.add(next);
          members.push(next);
        }
    const strips = members.filter((m) => m < n).sort((a, b) => a - b);
    if (strips.length === 0) continue;
    const central = strips.reduce((best, s) => (degree[s]! > degree[best]! ? s : best));
    const own = strips.includes(problem.reference) ? problem.reference : central;
    components.push({ strips, reference: members.includes(n) ? -1 : own });
  }
  return components.sort(
    (a, b) => b.strips.length - a.strips.length || a.reference - b.reference || a.strips[0]! - b.strips[0]!,
  );
}

/** Poses along the forest, every component's reference where the common space is. */
export function startState(problem: Problem, forest: Forest): Float64Array {
  const n = problem.strips.length;
  const state = new Float64Array(n * DOF);
  const near: Link[][] = Array.from({ length: n + 1 }, () => []);
  for (const l of forest.inTree) {
    near[l.fixed]!.push(l);
    near[l.moving]!.push(l);
  }
  const poses = new Map<number, Affine>();
  for (const { strips, reference } of componentsOf(problem, forest.inTree)) {
    const first = reference === -1 ? n : reference;
    poses.set(first, IDENTITY);
    const queue = [first];
    for (let k = 0; k < queue.length; k++)
      for (const l of near[queue[k]!]!) {
        const next = otherEnd(l, queue[k]!);
        if (poses.has(next)) continue;
        poses.set(next, compose(poses.get(queue[k]!)!, l.fixed === queue[k] ? l.pose : l.back));
        queue.push(next);
      }
    for (const s of strips) setPose(state, s, problem.strips[s]!.centre, poses.get(s)!);
  }
  // The chain's scales and squeezes are its noise; the priors know better.
  for (let s = 0; s < n; s++) for (const k of [3, 4]) state[s * DOF + k] = 0;
  return state;
}

/** The poses of a state, that of the common space last. */
export function posesOf(problem: Problem, state: Float64Array): Affine[] {
  return [...problem.strips.map((s, k) => poseOf(state, k, s.centre)), IDENTITY];
}

/** Compares a link with the poses of its strips. */
export function compareLink(problem: Problem, poses: readonly Affine[], link: Link, out: Comparison): void {
  const fixedCentre = problem.strips[link.fixed]?.centre ?? ORIGIN;
  const movingCentre = problem.strips[link.moving]!.centre;
  compare(link, poses[link.fixed]!, fixedCentre, poses[link.moving]!, movingCentre, out);
}

/** Squared residual over the link's own covariance. */
export function misfit(link: Link, residual: Float64Array): number {
  let sum = 0;
  for (let d = 0; d < link.rank; d++) {
    let along = 0;
    for (let k = 0; k < DOF; k++) along += link.whitener[d * DOF + k]! * residual[k]!;
    sum += along * along;
  }
  return sum;
}

/** Weight of a link at the given squared misfit. */
export type Weighting = (misfit2: number, link: Link) => number;

/**
 * Weighted least squares for the poses of all strips (Gauss–Newton; the normal equations by Cholesky within their
 * envelope), with priors on scale and squeeze. `weigh` is asked in every iteration; without it all weights are 1.
 */
export function solveLinks(
  problem: Problem,
  links: readonly Link[],
  start: Float64Array,
  iterations: number,
  weigh?: Weighting,
): Solved {
  const n = problem.strips.length;
  const components = componentsOf(problem, links);
  const componentOf = Array.from({ length: n + 1 }, () => -1);
  components.forEach((c, k) => {
    for (const s of c.strips) componentOf[s] = k;
    if (c.reference === -1) componentOf[n] = k;
  });
  const state = Float64Array.from(start);
  for (const { reference } of components) if (reference !== -1) settle(problem, state, components, reference);
  const joins = links.filter((l) => l.fixed !== n).map((l) => [l.fixed, l.moving] as const);
  const order = narrowOrder(n, joins);
  const place = new Int32Array(n);
  order.forEach((s, k) => {
    place[s] = k;
  });
  const firstPlace = Int32Array.from(order, (_, k) => k);
  for (const [a, b] of joins) {
    const [low, high] = place[a]! < place[b]! ? [place[a]!, place[b]!] : [place[b]!, place[a]!];
    firstPlace[high] = Math.min(firstPlace[high]!, low);
  }
  const first = Int32Array.from({ length: n * DOF }, (_, i) => firstPlace[Math.floor(i / DOF)]! * DOF);
  const reach = problem.strips.map((s) => Math.max(s.widthPx, s.heightPx) / 2);
  const held = new Set(components.flatMap((c) => (c.reference === -1 ? [] : [c.reference])));
  const comparison = createComparison();
  const build = () => {
    const matrix = createEnvelope(first);
    const right = new Float64Array(n * DOF);
    const poses = posesOf(problem, state);
    for (const link of links) {
      compareLink(problem, poses, link, comparison);
      const weight = weigh ? weigh(misfit(link, comparison.residual), link) : 1;
      if (weight > 0) addLink({ matrix, right, place, reach, held }, link, comparison, weight, n);
    }
    for (let s = 0; s < n; s++) {
      const k = place[s]! * DOF;
      const add = (p: number, information: number, value: number): void => {
        matrix.values[seat(matrix, k + p, k + p)]! += information;
        right[k + p]! -= information * value;
      };
      for (const [p, sigma] of [
        [3, problem.settings.scaleSigma],
        [4, problem.settings.squeezeSigma],
      ] as const)
        add(p, 1 / (sigma * reach[s]!) ** 2, state[s * DOF + p]! * reach[s]!);
      for (let p = 0; p < 3; p++) add(p, held.has(s) ? 1 : WEAK, 0);
    }
    return { matrix, right };
  };
  for (let k = 0; k < iterations; k++) {
    const { matrix, right } = build();
    if (!factorEnvelope(matrix)) break;
    substituteEnvelope(matrix, right);
    let most = 0;
    for (let s = 0; s < n; s++)
      for (let p = 0; p < DOF; p++) {
        const step = right[place[s]! * DOF + p]!;
        most = Math.max(most, Math.abs(step));
        state[s * DOF + p]! += p < 2 ? step : step / reach[s]!;
      }
    if (most < CONVERGED_PX) break;
  }
  let inverse: Float64Array | null = null;
  const covariance = (i: number, j: number): Float64Array => {
    if (!inverse) {
      const { matrix } = build();
      inverse = factorEnvelope(matrix) ? invertEnvelope(matrix) : new Float64Array((n * DOF) ** 2);
    }
    const block = new Float64Array(DOF * DOF);
    for (let p = 0; p < DOF; p++)
      for (let q = 0; q < DOF; q++) {
        if ((p < 3 && held.has(i)) || (q < 3 && held.has(j))) continue;
        const value = inverse[(place[i]! * DOF + p) * n * DOF + place[j]! * DOF + q]!;
        block[p * DOF + q] = value / ((p < 2 ? 1 : reach[i]!) * (q < 2 ? 1 : reach[j]!));
      }
    return block;
  };
  return { state, poses: posesOf(problem, state), components, componentOf, covariance };
}

/** Information that keeps what nothing determines from being singular: a spread of 10⁵ px. */
const WEAK = 1e-10;
const CONVERGED_PX = 1e-8;

/** Moves a component so that its reference is where the common space is. */
function settle(problem: Problem, state: Float64Array, components: readonly Component[], reference: number): void {
  const own = components.find((c) => c.reference === reference)!;
  const centre = problem.strips[reference]!.centre;
  const k = reference * DOF;
  const turn = -state[k + 2]!;
  const [c, s] = [Math.cos(turn), Math.sin(turn)];
  const [ox, oy] = [state[k]!, state[k + 1]!];
  for (const strip of own.strips) {
    const at = strip * DOF;
    const dx = state[at]! - ox;
    const dy = state[at + 1]! - oy;
    state[at] = centre.x + c * dx - s * dy;
    state[at + 1] = centre.y + s * dx + c * dy;
    state[at + 2]! += turn;
  }
}

interface Equations {
  readonly matrix: Envelope;
  readonly right: Float64Array;
  readonly place: Int32Array;
  readonly reach: readonly number[];
  readonly held: ReadonlySet<number>;
}

/** Adds a link's whitened rows; what a reference holds, and the common space, has no unknowns. */
function addLink(
  { matrix, right, place, reach, held }: Equations,
  link: Link,
  { residual, byFixed, byMoving }: Comparison,
  weight: number,
  world: number,
): void {
  const { whitener, rank } = link;
  let count = 0;
  for (let side = 0; side < 2; side++) {
    const strip = side === 0 ? link.fixed : link.moving;
    const by = side === 0 ? byFixed : byMoving;
    if (strip === world) continue;
    for (let p = held.has(strip) ? 3 : 0; p < DOF; p++) {
      const unit = p < 2 ? 1 : 1 / reach[strip]!;
      for (let d = 0; d < rank; d++) {
        let sum = 0;
        for (let k = 0; k < DOF; k++) sum += whitener[d * DOF + k]! * by[k * DOF + p]!;
        ROWS[count * DOF + d] = sum * unit;
      }
      INDEX[count++] = place[strip]! * DOF + p;
    }
  }
  for (let d = 0; d < rank; d++) {
    let sum = 0;
    for (let k = 0; k < DOF; k++) sum += whitener[d * DOF + k]! * residual[k]!;
    WHITE[d] = sum;
  }
  for (let a = 0; a < count; a++) {
    const i = INDEX[a]!;
    for (let d = 0; d < rank; d++) right[i]! -= weight * ROWS[a * DOF + d]! * WHITE[d]!;
    for (let b = 0; b < count; b++) {
      if (INDEX[b]! > i) continue;
      let sum = 0;
      for (let d = 0; d < rank; d++) sum += ROWS[a * DOF + d]! * ROWS[b * DOF + d]!;
      matrix.values[seat(matrix, i, INDEX[b]!)]! += weight * sum;
    }
  }
}

/** Scratch of {@link addLink}, filled anew at every call. */
const ROWS = new Float64Array(2 * DOF * DOF);
const INDEX = new Int32Array(2 * DOF);
const WHITE = new Float64Array(DOF);
