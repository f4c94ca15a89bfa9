import { type Affine, onCoarserGrid, onFinerGrid } from '../compute/affine.js';
import { binPlane } from '../compute/downsample.js';
import type { Plane } from '../compute/image.js';
import { ALIGN_DEFAULTS, type AlignFreedom, type Alignment, alignPair } from './align.js';
import { BAND_PASS_DEFAULTS, bandPass } from './band-pass.js';
import type { Masked } from './lock.js';

/**
 * Takes a coarse lock, right to about `coarseFactor` px, down to full resolution: least squares on pictures binned by
 * ever smaller powers of two, each starting from the last. Undefined when the overlap runs empty on the way.
 */
export function refinePose(
  fixed: Masked,
  moving: Masked,
  coarse: Affine,
  coarseFactor: number,
  freedom: AlignFreedom,
): Alignment | undefined {
  let factor = 1;
  while (factor * 2 < coarseFactor) factor *= 2;
  let pose = coarse;
  for (; factor >= 1; factor /= 2) {
    const a = detailAt(fixed, factor);
    const b = detailAt(moving, factor);
    const settings = { ...ALIGN_DEFAULTS, freedom, stridePx: factor > 1 ? 1 : 2 };
    const aligned = alignPair(a, b, onCoarserGrid(pose, factor), settings);
    if (!aligned) return undefined;
    pose = onFinerGrid(aligned.pose, factor);
    if (factor === 1) return { ...aligned, pose };
  }
  return undefined;
}

function detailAt(picture: Masked, factor: number): { detail: Plane; coverage?: Plane } {
  const light = binPlane(picture.light, factor);
  if (!picture.coverage) return { detail: bandPass(light, BAND_PASS_DEFAULTS) };
  const coverage = binPlane(picture.coverage, factor);
  for (let i = 0; i < coverage.data.length; i++) coverage.data[i] = coverage.data[i]! > 0.99 ? 1 : 0;
  return { detail: bandPass(light, BAND_PASS_DEFAULTS, coverage), coverage };
}
