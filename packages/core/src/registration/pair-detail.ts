import { blurWithKernels } from '../compute/kernels-filter.js';
import type { PairLevel } from './pair-normal.js';

/** Ground detail of even contrast for the lock: zero where nothing may be used. */
export interface PairDetail {
  readonly width: number;
  readonly height: number;
  readonly detail: Float32Array;
  /** 1 where the detail counts, 0 elsewhere. */
  readonly mask: Float32Array;
  readonly usablePx: number;
}

/**
 * What the lock compares: light less its surroundings, over the local contrast, held to ±3. Broad dark areas (sky beyond
 * the limb, the night side) and their borders are left out: a limb fits every other limb. So are the vignetting and
 * the glow of the sky, which do not move with the ground.
 */
export function pairDetail(level: PairLevel): PairDetail {
  const { width, height, variance } = level;
  const mask = new Float32Array(width * height).fill(1);
  if (variance) for (let i = 0; i < mask.length; i++) if (variance[i]! === Infinity) mask[i] = 0;
  dropDark(level, mask);
  const around = blurred(level.data, mask, width, height, SURROUND_PX);
  const detail = new Float32Array(mask.length);
  const energy = new Float32Array(mask.length);
  let usablePx = 0;
  let mean = 0;
  for (let i = 0; i < mask.length; i++) {
    if (mask[i] === 0) continue;
    detail[i] = level.data[i]! - around[i]!;
    energy[i] = detail[i]! ** 2;
    usablePx++;
    mean += energy[i]!;
  }
  mean /= Math.max(1, usablePx);
  const contrast = blurred(energy, mask, width, height, CONTRAST_PX);
  for (let i = 0; i < mask.length; i++) {
    const scale = Math.sqrt(Math.max(0, contrast[i]!) + FLOOR * mean);
    detail[i] = mask[i] === 0 || !(scale > 0) ? 0 : Math.max(-3, Math.min(3, detail[i]! / scale));
  }
  return { width, height, detail, mask, usablePx };
}

/** Gaussian σ of the surround, and of the neighbourhood that the contrast is taken over, px. */
const SURROUND_PX = 3.5;
const CONTRAST_PX = 7;
/** Share of the mean energy that keeps quiet ground quiet. */
const FLOOR = 0.1;
const DARK = 0.08;

/** Masks what is broadly dark, with its border. */
function dropDark(level: PairLevel, mask: Float32Array): void {
  const { width, height } = level;
  const broad = blurred(level.data, mask, width, height, 2);
  let low = Infinity;
  let high = -Infinity;
  for (let i = 0; i < mask.length; i++) {
    const v = broad[i]!;
    if (mask[i] === 0) continue;
    if (v < low) low = v;
    if (v > high) high = v;
  }
  const limit = low + DARK * (high - low);
  const dark = new Float32Array(mask.length);
  for (let i = 0; i < mask.length; i++) dark[i] = mask[i] === 0 || broad[i]! > limit ? 0 : 1;
  const share = blurWithKernels({ width, height, data: dark }, DARK_BORDER_PX).data;
  for (let i = 0; i < mask.length; i++) if (share[i]! > 0.3) mask[i] = 0;
}

const DARK_BORDER_PX = 3;

/** Gaussian mean over the mask. */
function blurred(data: Float32Array, mask: Float32Array, width: number, height: number, sigmaPx: number): Float32Array {
  let isOpen = true;
  for (let i = 0; i < mask.length && isOpen; i++) isOpen = mask[i] === 1;
  if (isOpen) return blurWithKernels({ width, height, data }, sigmaPx).data;
  const weighted = data.map((v, i) => (mask[i]! > 0 ? v : 0));
  const sum = blurWithKernels({ width, height, data: weighted }, sigmaPx).data;
  const cover = blurWithKernels({ width, height, data: mask }, sigmaPx).data;
  for (let i = 0; i < sum.length; i++) sum[i] = cover[i]! > 1e-6 ? sum[i]! / cover[i]! : 0;
  return sum;
}
