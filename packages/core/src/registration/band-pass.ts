import { gaussianBlur } from '../compute/gaussian.js';
import { createPlane, type Plane } from '../compute/image.js';

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
  const detail = difference(light, settings, coverage);
  const contrast = localContrast(detail, settings, coverage);
  const floor = 0.5 * usualContrast(light, contrast);
  for (let i = 0; i < detail.data.length; i++) {
    detail.data[i]! /= Math.sqrt(contrast.data[i]! ** 2 + floor ** 2) + 1e-12;
  }
  return detail;
}

function difference(light: Plane, settings: BandPassSettings, coverage?: Plane): Plane {
  const root = createPlane(light.width, light.height);
  for (let i = 0; i < root.data.length; i++) {
    root.data[i] = Math.sqrt(Math.max(0, light.data[i]!)) * (coverage ? coverage.data[i]! : 1);
  }
  const fine = gaussianBlur(root, settings.fineSigmaPx);
  const coarse = gaussianBlur(root, settings.coarseSigmaPx);
  const fineCover = coverage && gaussianBlur(coverage, settings.fineSigmaPx);
  const coarseCover = coverage && gaussianBlur(coverage, settings.coarseSigmaPx);
  for (let i = 0; i < root.data.length; i++) {
    if (!coverage) root.data[i] = fine.data[i]! - coarse.data[i]!;
    else if (coverage.data[i]! <= 0.5) root.data[i] = 0;
    else root.data[i] = fine.data[i]! / fineCover!.data[i]! - coarse.data[i]! / coarseCover!.data[i]!;
  }
  return root;
}

/** Root mean square of the detail over a neighbourhood three times the coarsest detail. */
function localContrast(detail: Plane, settings: BandPassSettings, coverage?: Plane): Plane {
  const energy = createPlane(detail.width, detail.height);
  for (let i = 0; i < energy.data.length; i++) energy.data[i] = detail.data[i]! ** 2;
  const out = gaussianBlur(energy, 3 * settings.coarseSigmaPx);
  const cover = coverage && gaussianBlur(coverage, 3 * settings.coarseSigmaPx);
  for (let i = 0; i < out.data.length; i++) {
    out.data[i] = Math.sqrt(Math.max(0, out.data[i]!) / (cover ? Math.max(1e-3, cover.data[i]!) : 1));
  }
  return out;
}

/** Median contrast of the ground that is lit by more than a tenth of the brightest. */
function usualContrast(light: Plane, contrast: Plane): number {
  const step = Math.max(1, Math.floor(light.data.length / 20_000));
  let brightest = 0;
  for (let i = 0; i < light.data.length; i += step) brightest = Math.max(brightest, light.data[i]!);
  const lit: number[] = [];
  for (let i = 0; i < light.data.length; i += step) {
    if (light.data[i]! > 0.1 * brightest) lit.push(contrast.data[i]!);
  }
  lit.sort((a, b) => a - b);
  return lit.length === 0 ? 0 : lit[Math.floor(lit.length / 2)]!;
}
