import type { Residuals } from '../compute/bend-spread.js';
import { quantile } from '../compute/quantile.js';

/** Patches next to each other are at most so many times the least distance apart. */
const NEAR = 1.6;
const LEAST_NEIGHBOURS = 3;
/** Farther than this many σ from the median of its neighbours a patch was led astray. */
const OUTLIER_SIGMAS = 4;
/** And no less than this, px: the air itself may change so much from patch to patch. */
const LEAST_OUTLIER_PX = 0.3;

/**
 * Leaves out patches that do not move with their neighbours: the air's bends are smooth, so such a patch has locked to a
 * limb, a shadow's edge or dust. The scatter that is usual is taken over all frames of the pass.
 *
 * @param stepPx distance of neighbouring patches
 */
export function withoutOutliers(frames: readonly Residuals[], stepPx: number): Residuals[] {
  const off = frames.map((points) => offNeighbours(points, NEAR * stepPx));
  const known = off.flat().filter(Number.isFinite);
  if (known.length === 0) return [...frames];
  const most = Math.max(LEAST_OUTLIER_PX, OUTLIER_SIGMAS * MEDIAN_TO_SIGMA * quantile(known, 0.5));
  return frames.map((points, k) => points.filter((_, i) => !(off[k]![i]! > most)));
}

/** Median of a length in two dimensions, in σ per axis, turned round. */
const MEDIAN_TO_SIGMA = 1 / 1.1774;

/** Distance of each patch from the median of its neighbours, px; NaN where it has too few. */
function offNeighbours(points: Residuals, reachPx: number): number[] {
  return points.map((p) => {
    const near = points.filter((q) => q !== p && Math.hypot(q.x - p.x, q.y - p.y) <= reachPx);
    if (near.length < LEAST_NEIGHBOURS) return Number.NaN;
    const x = quantile(
      near.map((q) => q.dx),
      0.5,
    );
    const y = quantile(
      near.map((q) => q.dy),
      0.5,
    );
    return Math.hypot(p.dx - x, p.dy - y);
  });
}
