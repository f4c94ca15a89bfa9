import { type Affine, applyX, applyY } from '../compute/affine.js';
import type { PlacedEdge } from './solve.js';

/**
 * What the solve leaves between two strips at a tie: its place, and the way from the fixed strip's ground to the moving
 * one's; common px at proxy scale.
 */
export interface TieResidual {
  readonly x: number;
  readonly y: number;
  readonly dx: number;
  readonly dy: number;
}

/** So many of an overlap's ties tell how it fits. */
const MOST_TIES = 400;

/** Residuals of one overlap, evenly thinned out to {@link MOST_TIES}; `poses` map strip px to the common space. */
export function residualsOf({ fixed, moving, edge }: PlacedEdge, poses: ReadonlyMap<number, Affine>): TieResidual[] {
  const [a, b] = [poses.get(fixed)!, poses.get(moving)!];
  const count = Math.min(MOST_TIES, edge.ties.length);
  return Array.from({ length: count }, (_, k) => {
    const t = edge.ties[Math.floor((k * edge.ties.length) / count)]!;
    const [x, y] = [applyX(a, t.fixedX, t.fixedY), applyY(a, t.fixedX, t.fixedY)];
    const dx = applyX(b, t.movingX, t.movingY) - x;
    const dy = applyY(b, t.movingX, t.movingY) - y;
    return { x, y, dx, dy };
  });
}
