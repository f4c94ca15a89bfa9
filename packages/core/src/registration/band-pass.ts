import type { Plane } from '../compute/image.js';
import { type HeldFloats, type KernelScope, withKernels } from '../compute/kernels.js';
import { holdWideBlurred } from '../compute/kernels-filter.js';
import { valueAtRank } from '../compute/quantile.js';

/** What the detail filter keeps. */
export interface BandPassSettings {
  /** Detail finer than this Gaussian σ (px) is noise. */
  readonly fineSigmaPx: number;
  /** Detail coarser than this Gaussian σ (px) is shading, vignetting and sky. */
  readonly coarseSigmaPx: number;
}

export const BAND_PASS_DEFAULTS: BandPassSettings = { fineSigmaPx: 1, coarseSigmaPx: 8 };

/**
 * The detail that registration works on, of even contrast all over the ground. First the difference of two Gaussians of
 * the square root of the light: the root levels shot noise and lifts the terminator, the difference drops what a sky
 * gradient or vignetting adds. Then a division by the local contrast, so that the limb, which fits itself under any
 * turn about the disc's centre, does not outweigh the craters; a floor, half the usual contrast of lit ground, keeps
 * sky and dark ground quiet. With a coverage all blurs are normalised by it and the result is 0 outside.
 */
export function bandPass(light: Plane, settings: BandPassSettings, coverage?: Plane): Plane {
  const { width, height } = light;
  return withKernels((scope) => {
    const data = scope.get(holdDetail(scope, light, scope.put(light.data), settings, coverage));
    return { width, height, data };
  });
}

/** {@link bandPass} of light that is held too; the result stays held. */
function holdDetail(
  scope: KernelScope,
  light: Plane,
  held: HeldFloats,
  { fineSigmaPx, coarseSigmaPx }: BandPassSettings,
  coverage: Plane | undefined,
): HeldFloats {
  const { width, height } = light;
  const count = width * height;
  const { exports } = scope;
  const of = (data: HeldFloats) => ({ width, height, data });
  const cover = coverage && of(scope.put(coverage.data));
  const blurredCover = (sigmaPx: number): number => (cover ? holdWideBlurred(scope, cover, sigmaPx).data.address : 0);
  const covered = cover?.data.address ?? 0;
  const root = scope.hold(count);
  exports.rootLight(held.address, covered, count, root.address);
  const detail = holdWideBlurred(scope, of(root), fineSigmaPx).data;
  const coarse = holdWideBlurred(scope, of(root), coarseSigmaPx).data;
  const [fineCover, coarseCover] = [blurredCover(fineSigmaPx), blurredCover(coarseSigmaPx)];
  exports.bandOf(detail.address, coarse.address, covered, fineCover, coarseCover, count);
  // Root mean square of the detail over a neighbourhood three times the coarsest detail.
  const contrast = holdWideBlurred(scope, of(coarse), 3 * coarseSigmaPx).data;
  exports.contrastOf(contrast.address, blurredCover(3 * coarseSigmaPx), count);
  const floor = 0.5 * usualContrast(light.data, scope.floats(contrast.address, count));
  exports.evenOut(detail.address, contrast.address, count, floor);
  return detail;
}

/** Median contrast of the ground that is lit by more than a tenth of the brightest. */
function usualContrast(light: Float32Array, contrast: Float32Array): number {
  const step = Math.max(1, Math.floor(light.length / 20_000));
  let brightest = 0;
  for (let i = 0; i < light.length; i += step) brightest = Math.max(brightest, light[i]!);
  const lit: number[] = [];
  for (let i = 0; i < light.length; i += step) {
    if (light[i]! > 0.1 * brightest) lit.push(contrast[i]!);
  }
  return lit.length === 0 ? 0 : valueAtRank(Float32Array.from(lit), Math.floor(lit.length / 2));
}
