import type { Plane } from './image.js';
import { blurWithKernels } from './kernels-filter.js';

/**
 * The plane convolved with a Gaussian of standard deviation `sigmaPx` (pixels of the plane, finite, not negative),
 * cut off at 4 sigma and normalised to a sum of 1. Separable; borders are mirrored about the centres of the edge pixels
 * (… c b a b c …), so a constant plane stays constant, to the bit. A sigma of 0 gives a copy. Single precision, right to
 * 2e-7 of the largest value near by. Throws RangeError for any other sigma.
 */
export function gaussianBlur(plane: Plane, sigmaPx: number): Plane {
  return blurWithKernels(plane, sigmaPx);
}
