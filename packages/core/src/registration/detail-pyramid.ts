import { binPlane } from '../compute/downsample.js';
import type { DetailPicture } from './align.js';
import { BAND_PASS_DEFAULTS, bandPass } from './band-pass.js';
import type { Masked } from './lock.js';

/** A picture's detail at several scales, each made when first asked for. */
export interface DetailPyramid {
  readonly widthPx: number;
  readonly heightPx: number;
  /** Detail of the picture binned by a whole factor. */
  at(factor: number): DetailPicture;
}

/** Prepares {@link bandPass}ed detail of a picture; covered is what every binned pixel has data for. */
export function createDetailPyramid(picture: Masked): DetailPyramid {
  const made = new Map<number, DetailPicture>();
  const make = (factor: number): DetailPicture => {
    const light = binPlane(picture.light, factor);
    if (!picture.coverage) return { detail: bandPass(light, BAND_PASS_DEFAULTS) };
    const coverage = binPlane(picture.coverage, factor);
    for (let i = 0; i < coverage.data.length; i++) coverage.data[i] = coverage.data[i]! > 0.99 ? 1 : 0;
    return { detail: bandPass(light, BAND_PASS_DEFAULTS, coverage), coverage };
  };
  return {
    widthPx: picture.light.width,
    heightPx: picture.light.height,
    at: (factor) => {
      const known = made.get(factor);
      if (known) return known;
      const detail = make(factor);
      made.set(factor, detail);
      return detail;
    },
  };
}
