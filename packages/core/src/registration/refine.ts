import { type Affine, onCoarserGrid, onFinerGrid } from '../compute/affine.js';
import { ALIGN_DEFAULTS, type AlignFreedom, type Alignment, alignPair } from './align.js';
import type { DetailPyramid } from './detail-pyramid.js';

/**
 * Takes a coarse lock, right to about `coarseFactor` px, down to full resolution: least squares on pictures binned by
 * ever smaller powers of two, each starting from the last. Undefined when the overlap runs empty on the way.
 */
export function refinePose(
  fixed: DetailPyramid,
  moving: DetailPyramid,
  coarse: Affine,
  coarseFactor: number,
  freedom: AlignFreedom,
): Alignment | undefined {
  let factor = 1;
  while (factor * 2 < coarseFactor) factor *= 2;
  let pose = coarse;
  for (; factor >= 1; factor /= 2) {
    const settings = { ...ALIGN_DEFAULTS, freedom, stridePx: factor > 1 ? 1 : 2 };
    const aligned = alignPair(fixed.at(factor), moving.at(factor), onCoarserGrid(pose, factor), settings);
    if (!aligned) return undefined;
    pose = onFinerGrid(aligned.pose, factor);
    if (factor === 1) return { ...aligned, pose };
  }
  return undefined;
}
