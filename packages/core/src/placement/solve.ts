import { CholeskyDecomposition, Matrix } from 'ml-matrix';
import { type Affine, applyX, applyY, compose, invert } from '../compute/affine.js';
import type { StripEdge } from './edge.js';

/** An edge of the placement graph, by index of the strips. */
export interface PlacedEdge {
  readonly fixed: number;
  readonly moving: number;
  readonly edge: StripEdge;
}

/** Where every strip of one connected group lies. */
export interface Placement {
  /** Strip px -> common px, by strip index. */
  readonly poses: ReadonlyMap<number, Affine>;
  /** Residual rms of each edge's ties, px per axis, in the order of the edges. */
  readonly edgeRmsPx: readonly number[];
}

/**
 * One least-squares solve for all strips of a connected group (Gauss–Newton on the tie points): shift, turn, scale and
 * vertical stretch of each, with priors on scale and stretch, since one camera took all passes and only refraction and
 * focus may differ a little. Strips far from the reference `first` do not inherit the errors of a chain.
 */
export function solvePlacement(
  strips: readonly number[],
  edges: readonly PlacedEdge[],
  sizes: ReadonlyMap<number, { readonly width: number; readonly height: number }>,
  first: number,
): Placement {
  let poses = startPoses(strips, edges, first);
  const used = new Map(strips.map((s) => [s, { scale: 0, stretch: 0 }]));
  for (let iteration = 0; iteration < ITERATIONS; iteration++) poses = step(strips, edges, sizes, poses, used, first);
  return { poses, edgeRmsPx: edges.map((e) => tieRms(e, poses)) };
}

const ITERATIONS = 6;
const UNKNOWNS = 5;
const CAUCHY = 2.385;
/** 1 σ of a difference in scale and in vertical stretch between passes. */
const SCALE_PRIOR = 1e-4;
const STRETCH_PRIOR = 8e-4;
/** Ties of one overlap share the air's large warps: no more than this many count as independent. */
const INDEPENDENT_TIES = 10;
const LEAST_WARP_PX = 0.02;

function startPoses(strips: readonly number[], edges: readonly PlacedEdge[], first: number): Map<number, Affine> {
  const poses = new Map<number, Affine>([[first, { xx: 1, xy: 0, yx: 0, yy: 1, tx: 0, ty: 0 }]]);
  const byTrust = [...edges].sort((a, b) => b.edge.lock.significance - a.edge.lock.significance);
  while (poses.size < strips.length) {
    const next = byTrust.find((e) => poses.has(e.fixed) !== poses.has(e.moving));
    if (!next) break;
    if (poses.has(next.fixed)) poses.set(next.moving, compose(poses.get(next.fixed)!, next.edge.pose));
    else poses.set(next.fixed, compose(poses.get(next.moving)!, invert(next.edge.pose)));
  }
  return poses;
}

function step(
  strips: readonly number[],
  edges: readonly PlacedEdge[],
  sizes: ReadonlyMap<number, { readonly width: number; readonly height: number }>,
  poses: ReadonlyMap<number, Affine>,
  used: Map<number, { scale: number; stretch: number }>,
  first: number,
): Map<number, Affine> {
  const slot = new Map(strips.map((s, i) => [s, i * UNKNOWNS]));
  const n = strips.length * UNKNOWNS;
  const normal = new Matrix(n, n);
  const right = new Float64Array(n);
  const frame = new Map(strips.map((s) => [s, frameOf(poses.get(s)!, sizes.get(s)!)]));
  const add = (index: readonly number[], row: readonly number[], value: number, weight: number): void => {
    for (let p = 0; p < index.length; p++) {
      right[index[p]!]! += weight * (row[p]! * value);
      for (let q = 0; q < index.length; q++)
        normal.set(index[p]!, index[q]!, normal.get(index[p]!, index[q]!) + weight * (row[p]! * row[q]!));
    }
  };
  for (const e of edges) {
    const rms = Math.max(LEAST_WARP_PX, tieRms(e, poses));
    const share = Math.min(1, INDEPENDENT_TIES / e.edge.ties.length);
    const i = slot.get(e.fixed)!;
    const j = slot.get(e.moving)!;
    const index = [
      ...Array.from({ length: UNKNOWNS }, (_, k) => i + k),
      ...Array.from({ length: UNKNOWNS }, (_, k) => j + k),
    ];
    for (const t of e.edge.ties) {
      const fx = applyX(poses.get(e.fixed)!, t.fixedX, t.fixedY);
      const fy = applyY(poses.get(e.fixed)!, t.fixedX, t.fixedY);
      const mx = applyX(poses.get(e.moving)!, t.movingX, t.movingY);
      const my = applyY(poses.get(e.moving)!, t.movingX, t.movingY);
      const off = Math.hypot(mx - fx, my - fy) / (CAUCHY * rms * Math.SQRT2);
      const weight = share / (t.variance + rms * rms) / (1 + off * off);
      const a = local(frame.get(e.fixed)!, fx, fy);
      const b = local(frame.get(e.moving)!, mx, my);
      add(index, [1, 0, -a.y, a.x, 0, -1, 0, b.y, -b.x, 0], mx - fx, weight);
      add(index, [0, 1, a.x, a.y, a.y, 0, -1, -b.x, -b.y, -b.y], my - fy, weight);
    }
  }
  for (const s of strips) {
    const i = slot.get(s)!;
    const { reach } = frame.get(s)!;
    const { scale, stretch } = used.get(s)!;
    add([i + 3], [1], -scale * reach, 1 / (SCALE_PRIOR * reach) ** 2);
    add([i + 4], [1], -stretch * reach, 1 / (STRETCH_PRIOR * reach) ** 2);
    for (let k = 0; k < 3; k++) add([i + k], [1], 0, s === first ? 1e8 : 1e-8);
  }
  const solved = new CholeskyDecomposition(normal).solve(Matrix.columnVector(Array.from(right))).to1DArray();
  const moved = new Map<number, Affine>();
  for (const s of strips) {
    const i = slot.get(s)!;
    const at = frame.get(s)!;
    const [dx, dy, turn, scale, stretch] = [
      solved[i]!,
      solved[i + 1]!,
      solved[i + 2]! / at.reach,
      solved[i + 3]! / at.reach,
      solved[i + 4]! / at.reach,
    ];
    const before = used.get(s)!;
    used.set(s, { scale: before.scale + scale, stretch: before.stretch + stretch });
    moved.set(s, compose(smallMap(at.cx, at.cy, dx, dy, turn, scale, stretch), poses.get(s)!));
  }
  return moved;
}

function frameOf(pose: Affine, size: { readonly width: number; readonly height: number }) {
  const cx = applyX(pose, (size.width - 1) / 2, (size.height - 1) / 2);
  const cy = applyY(pose, (size.width - 1) / 2, (size.height - 1) / 2);
  return { cx, cy, reach: Math.max(size.width, size.height) / 2 };
}

function local(frame: { readonly cx: number; readonly cy: number; readonly reach: number }, x: number, y: number) {
  return { x: (x - frame.cx) / frame.reach, y: (y - frame.cy) / frame.reach };
}

function smallMap(
  cx: number,
  cy: number,
  dx: number,
  dy: number,
  turn: number,
  scale: number,
  stretch: number,
): Affine {
  const grow = 1 + scale;
  const xx = grow * Math.cos(turn);
  const xy = -grow * Math.sin(turn);
  const yx = (1 + stretch) * grow * Math.sin(turn);
  const yy = (1 + stretch) * grow * Math.cos(turn);
  return { xx, xy, yx, yy, tx: cx + dx - xx * cx - xy * cy, ty: cy + dy - yx * cx - yy * cy };
}

function tieRms(e: PlacedEdge, poses: ReadonlyMap<number, Affine>): number {
  let sum = 0;
  for (const t of e.edge.ties) {
    const a = poses.get(e.fixed)!;
    const b = poses.get(e.moving)!;
    const dx = applyX(a, t.fixedX, t.fixedY) - applyX(b, t.movingX, t.movingY);
    const dy = applyY(a, t.fixedX, t.fixedY) - applyY(b, t.movingX, t.movingY);
    sum += dx * dx + dy * dy;
  }
  return Math.sqrt(sum / (2 * Math.max(1, e.edge.ties.length)));
}
