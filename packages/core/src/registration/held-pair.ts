import type { KernelScope } from '../compute/kernels.js';
import { holdGradient } from '../compute/kernels-filter.js';
import type { PoseSumsInput } from '../compute/kernels-pose-sums.js';
import type { DetailPicture } from './align.js';

/** Two detail pictures and the derivatives of the fixed one in the memory of the kernels. */
export type HeldPair = Pick<PoseSumsInput, 'fixed' | 'moving'>;

/** Brings a pair in once, for many sums over it; good until the scope ends. */
export function holdPair(scope: KernelScope, fixed: DetailPicture, moving: DetailPicture): HeldPair {
  const held = (picture: DetailPicture) => ({
    width: picture.detail.width,
    height: picture.detail.height,
    data: scope.put(picture.detail.data),
    ...(picture.coverage && { coverage: scope.put(picture.coverage.data) }),
  });
  const still = held(fixed);
  const { x, y } = holdGradient(scope, still);
  return { fixed: { ...still, gradientX: x, gradientY: y }, moving: held(moving) };
}
