import type { HeldFloats, KernelScope } from './kernels.js';
import { type PoseSums, unpackSums, windowOf } from './kernels-pose-sums.js';

/** Two pictures on the same grid, in the memory of the kernels. */
export interface PatchPictures {
  readonly width: number;
  readonly height: number;
  /** The picture that is interpolated. */
  readonly fixed: HeldFloats;
  /** Above 1/2 where it may be used. */
  readonly cover: HeldFloats;
  readonly moving: HeldFloats;
}

/**
 * Sums over one patch, whose first pixel of `moving` is (left, top), with the fixed picture taken (dx, dy) px farther on.
 * The next call fills the same arrays.
 */
export type SumPatch = (left: number, top: number, dx: number, dy: number) => PoseSums | undefined;

/**
 * Gives sums as `poseSums` of kernels-pose-sums.ts, with `isWindowed`, for square patches and a shift of the fixed picture
 * alone, some ten times as fast; undefined for a patch that is not all covered. Good until the scope ends or holds more.
 *
 * @param stridePx 1 or 2
 * @throws RangeError unless sizePx/stridePx is a multiple of 4
 */
export function patchSummer(
  scope: KernelScope,
  { width, height, fixed, cover, moving }: PatchPictures,
  sizePx: number,
  stridePx: number,
): SumPatch {
  const side = sizePx / stridePx;
  if ((stridePx !== 1 && stridePx !== 2) || side % 4 !== 0)
    throw new RangeError(`no patches of ${sizePx} px with a stride of ${stridePx} px`);
  const window = scope.put(windowOf(0, sizePx, stridePx)).address;
  const sums = scope.reserve(8 * 15);
  const scratch = scope.reserve(4 * 2 * (sizePx + 8) + 8 * 28);
  const samples = (side - 1) ** 2;
  const where = [fixed.address, cover.address, moving.address, width, height] as const;
  const packed = scope.doubles(sums, 15);
  const [normal, right] = [new Float64Array(16), new Float64Array(4)];
  return (left, top, dx, dy) => {
    const done = scope.exports.patchSums(...where, left, top, side, stridePx, dx, dy, window, sums, scratch);
    return done === 0 ? undefined : unpackSums(packed, 4, samples, normal, right);
  };
}
