import { type Affine, invert } from './affine.js';
import type { Plane } from './image.js';
import { type HeldFloats, type KernelFloats, type KernelScope, withKernels } from './kernels.js';
import type { KernelPlane } from './kernels-fft.js';
import { putTaps, type TapTable } from './kernels-taps.js';
import { LANCZOS_PHASES, LANCZOS_WEIGHTS } from './lanczos.js';

/** Options of {@link resampleWithKernels}. */
export interface ResampleOptions {
  /**
   * 'cubic': cubic convolution as `warpPlane` of warp.ts, up to the outermost pixel centres. 'lanczos': Lanczos of radius
   * 3 as in lanczos.ts, more than two pixels within them. Default 'cubic'.
   */
  readonly kernel?: 'cubic' | 'lanczos';
  /** Above 1/2 where the source may be used, which has its size; what is left out may be NaN. Default: everywhere. */
  readonly mask?: KernelFloats;
}

/**
 * Resamples a plane through a pose (source px -> target px) onto a target grid. Also returns the coverage: 1 where every
 * source pixel that the value is made of exists and may be used, 0 elsewhere; the plane is 0 there. (Cubic convolution
 * repeats edge pixels at the border.) Single precision: the weights are right to 1e-7. Poses that only shift take a
 * faster way. Throws RangeError for a degenerate pose.
 */
export function resampleWithKernels(
  source: KernelPlane,
  pose: Affine,
  width: number,
  height: number,
  options: ResampleOptions = {},
): { plane: Plane; coverage: Plane } {
  return withKernels((scope) => {
    const { value, covered } = holdResampled(scope, source, pose, width, height, options);
    return {
      plane: { width, height, data: scope.get(value) },
      coverage: { width, height, data: scope.get(covered) },
    };
  });
}

/** {@link resampleWithKernels}, of what may be held; the results stay held. */
export function holdResampled(
  scope: KernelScope,
  source: KernelPlane,
  pose: Affine,
  width: number,
  height: number,
  options: ResampleOptions = {},
): { readonly value: HeldFloats; readonly covered: HeldFloats } {
  const back = invert(pose);
  const value = scope.hold(width * height);
  const covered = scope.hold(width * height);
  withKernels(() => {
    if (options.kernel === 'lanczos') resampleLanczos(scope, source, back, [value, covered], width, height, options);
    else resampleCubic(scope, source, back, [value, covered], width, height, options);
  });
  return { value, covered };
}

const LANCZOS: TapTable = { weights: LANCZOS_WEIGHTS, steps: LANCZOS_PHASES };

type Target = readonly [HeldFloats, HeldFloats];

function resampleCubic(
  scope: KernelScope,
  source: KernelPlane,
  back: Affine,
  [value, covered]: Target,
  width: number,
  height: number,
  { mask }: ResampleOptions,
): void {
  const { width: w, height: h } = source;
  const foot = mask ? footprint(scope, mask, w, h, 1, 4) : 0;
  const from = scope.put(source.data);
  const padded = scope.hold((w + 3) * (h + 3));
  scope.exports.padPlane(from.address, w, h, 1, 2, padded.address);
  const { xx, xy, yx, yy, tx, ty } = back;
  const { resampleCubic: run } = scope.exports;
  run(padded.address, w, h, foot, xx, xy, yx, yy, tx, ty, value.address, covered.address, width, height);
}

function resampleLanczos(
  scope: KernelScope,
  source: KernelPlane,
  back: Affine,
  [value, covered]: Target,
  width: number,
  height: number,
  { mask }: ResampleOptions,
): void {
  const { width: w, height: h } = source;
  const foot = mask ? footprint(scope, mask, w, h, 2, 6) : 0;
  const from = scope.put(source.data);
  const taps = putTaps(scope, LANCZOS);
  const scratch = scope.reserve(4 * (width + 32));
  const { xx, xy, yx, yy, tx, ty } = back;
  scope.exports.resampleSix(
    ...([from.address, w, h, foot, xx, xy, yx, yy, tx, ty] as const),
    ...([value.address, covered.address, width, height, taps, LANCZOS_PHASES, scratch] as const),
  );
}

function footprint(
  scope: KernelScope,
  mask: KernelFloats,
  width: number,
  height: number,
  before: number,
  count: number,
): number {
  const held = scope.put(mask);
  const out = scope.hold(width * height);
  const scratch = scope.hold(width * height);
  scope.exports.footprint(held.address, width, height, before, count, out.address, scratch.address);
  return out.address;
}
