import type { Affine } from './affine.js';
import type { Plane } from './image.js';
import { resampleWithKernels } from './kernels-resample.js';

/**
 * Resamples a plane through a pose (source px -> target px) onto a target grid by cubic convolution. Also returns the
 * coverage: 1 where the target pixel's centre falls between the source's outermost pixel centres, 0 elsewhere; the
 * plane is 0 there. Single precision.
 */
export function warpPlane(
  source: Plane,
  pose: Affine,
  width: number,
  height: number,
): { plane: Plane; coverage: Plane } {
  return resampleWithKernels(source, pose, width, height);
}
