import type { KernelScope } from '../compute/kernels.js';
import { gradientWithKernels } from '../compute/kernels-filter.js';
import type { PoseSumsInput } from '../compute/kernels-pose-sums.js';
import type { DetailPicture } from './align.js';

/** Two detail pictures and the derivatives of the fixed one in the memory of the kernels. */
export type HeldPair = Pick<PoseSumsInput, 'fixed' | 'moving'>;

/** Brings a pair in once, for many sums over it; good until the scope ends. */
export function holdPair(scope: KernelScope, fixed: DetailPicture, moving: DetailPicture): HeldPair {
  const gradient = gradientWithKernels(fixed.detail);
  const held = (picture: DetailPicture) => ({
    width: picture.detail.width,
    height: picture.detail.height,
    data: scope.put(picture.detail.data),
    ...(picture.coverage && { coverage: scope.put(picture.coverage.data) }),
  });
  return {
    fixed: { ...held(fixed), gradientX: scope.put(gradient.x), gradientY: scope.put(gradient.y) },
    moving: held(moving),
  };
}
