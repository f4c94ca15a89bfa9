import { type Affine, applyX, applyY, mappedBounds } from '../compute/affine.js';
import { type BendGrid, createBendGrid } from '../compute/bend-grid.js';
import { addField, type BendSpread, bendSpread, interpolationWeights } from '../compute/bend-spread.js';
import { defineTask, type Task } from '../compute/task.js';
import type { PlacedEdge } from './solve.js';

/**
 * What a pass is still bent by once it is placed, on knots of the common space (px at proxy scale): ground that its pose
 * puts at x belongs to x + bend(x).
 */
export type JoinField = BendGrid;

/** A placed strip: its pose (strip px -> common px), its size and the number of its frames. */
export interface JoinedStrip {
  readonly pose: Affine;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly frames: number;
}

/** Input of {@link joinTask}. */
export interface JoinInput {
  readonly strips: readonly (JoinedStrip | null)[];
  readonly edges: readonly PlacedEdge[];
}

/** {@link joinFields} in a worker. */
export const joinTask: Task<JoinInput, (JoinField | null)[]> = defineTask('placement/join');

export function runJoin({ strips, edges }: JoinInput): (JoinField | null)[] {
  return joinFields(strips, edges);
}

const KNOT_STEP_PX = 24;
/** Ties nearer to each other than this hold the same ground. */
const LEAST_APART_PX = 32;
const MOST_TIES = 700;
/** Farther apart ties would not tell a bend any more: many overlaps keep more of them. */
const FARTHEST_APART_PX = 96;

/**
 * Local registration of the overlaps: where two placed strips show the same ground apart, each goes part of the way, so
 * that nothing doubles and the joint ground is the mean of both, as it would be of all their frames. One most probable
 * field for every strip from the ties of all overlaps (optimal interpolation, Gandin 1963): smooth as the ties
 * themselves are, fading away from the overlaps, smaller for the strip with more frames.
 *
 * @param strips by index; null where a strip is not placed
 * @param edges overlaps that are used
 */
export function joinFields(
  strips: readonly (JoinedStrip | null)[],
  edges: readonly PlacedEdge[],
): (JoinField | null)[] {
  const ties = tiesOf(strips, edges);
  const grids = strips.map((strip) => strip && gridOf(strip));
  if (ties.length < 2) return grids;
  const spread = halved(bendSpread(edges.map((_, e) => ties.filter((t) => t.edge === e))));
  if (spread.parts.length === 0) return grids;
  const usual = meanOf(strips.flatMap((s) => (s ? [1 / s.frames] : [])));
  const variance = strips.map((s) => (s ? 1 / s.frames / usual : 0));
  const shared = (i: number, k: number): number => {
    const [p, q] = [ties[i]!, ties[k]!];
    return (
      (p.moving === q.moving ? variance[p.moving]! : 0) +
      (p.fixed === q.fixed ? variance[p.fixed]! : 0) -
      (p.moving === q.fixed ? variance[p.moving]! : 0) -
      (p.fixed === q.moving ? variance[p.fixed]! : 0)
    );
  };
  const weights = interpolationWeights(ties, spread, shared);
  grids.forEach((grid, s) => {
    if (!grid) return;
    const part = ties.map((t) => (t.moving === s ? variance[s]! : t.fixed === s ? -variance[s]! : 0));
    addField(
      ties,
      { x: weights.x.map((w, i) => part[i]! * w), y: weights.y.map((w, i) => part[i]! * w) },
      spread,
      grid,
    );
  });
  return grids;
}

interface PlacedTie {
  readonly edge: number;
  readonly fixed: number;
  readonly moving: number;
  /** Place in the common space, and what the moving strip must go, less what the fixed one goes. */
  readonly x: number;
  readonly y: number;
  readonly dx: number;
  readonly dy: number;
  readonly variance: number;
}

/** Ties of all overlaps in the common space, thinned out so that none says again what another has said. */
function tiesOf(strips: readonly (JoinedStrip | null)[], edges: readonly PlacedEdge[]): PlacedTie[] {
  const all = edges.flatMap(({ fixed, moving, edge }, e) => {
    const [a, b] = [strips[fixed]?.pose, strips[moving]?.pose];
    if (!a || !b) return [];
    return edge.ties.map((t) => {
      const fx = applyX(a, t.fixedX, t.fixedY);
      const fy = applyY(a, t.fixedX, t.fixedY);
      const mx = applyX(b, t.movingX, t.movingY);
      const my = applyY(b, t.movingX, t.movingY);
      const at = { x: (fx + mx) / 2, y: (fy + my) / 2 };
      return { edge: e, fixed, moving, ...at, dx: fx - mx, dy: fy - my, variance: t.variance };
    });
  });
  let kept = thinned(all, LEAST_APART_PX);
  for (let apart = LEAST_APART_PX; kept.length > MOST_TIES && apart < FARTHEST_APART_PX; ) {
    apart *= 1.2;
    kept = thinned(all, apart);
  }
  return kept;
}

function thinned(ties: readonly PlacedTie[], apart: number): PlacedTie[] {
  const cells = new Map<string, PlacedTie>();
  for (const t of ties) {
    const cell = `${t.edge} ${Math.floor(t.x / apart)} ${Math.floor(t.y / apart)}`;
    const known = cells.get(cell);
    if (!known || t.variance < known.variance) cells.set(cell, t);
  }
  return [...cells.values()];
}

/** The difference of two strips' bends has twice the variance of either. */
function halved(spread: BendSpread): BendSpread {
  return { ...spread, parts: spread.parts.map((p) => ({ ...p, variance: p.variance / 2 })) };
}

function gridOf({ pose, widthPx, heightPx }: JoinedStrip): JoinField {
  return createBendGrid(mappedBounds(pose, widthPx, heightPx), KNOT_STEP_PX);
}

function meanOf(values: readonly number[]): number {
  return values.reduce((sum, v) => sum + v / values.length, 0);
}
