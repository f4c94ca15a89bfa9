import { type Affine, applyX, applyY, rotationDegOf } from '../compute/affine.js';
import type { Masked } from './lock.js';
import { type BandCheck, checkPose } from './pair-search-check.js';
import { prepareSearchPicture, type SearchPicture } from './pair-search-picture.js';
import { isTurnWithin, pairFeatures, type SearchRanges, votes } from './pair-search-vote.js';

/** A possible pose of the moving picture on the fixed one. */
export interface SimilarityCandidate {
  /** Moving px -> fixed px, full resolution: turn, scale and shift. */
  readonly pose: Affine;
  /** Fixed px per moving px. */
  readonly scale: number;
  /** x towards y, −180..180. */
  readonly rotationDeg: number;
  /**
   * Normalised cross-correlation of the detail over the common ground, −1..1, at the scale (of three, a factor 2 apart)
   * that vouches for the most: fine detail where the pictures are sharp, coarse detail where noise or blur hides it.
   */
  readonly correlation: number;
  /** Common ground as a share of the smaller picture's ground, 0..1. */
  readonly overlap: number;
  /** Fisher's z of the correlation times √(independent samples − 3), at the scale of {@link correlation}. */
  readonly significance: number;
}

/**
 * A candidate that reaches both may be relied on; {@link isCertain} tests it. Measured: the same ground under the same
 * Sun correlates by 0.95 and more with a significance of 17 and more, the same ground on other dates by 0.8 at most,
 * other ground by 0.7 at most with a significance below 8.
 */
export const SEARCH_CERTAIN: { readonly correlation: number; readonly significance: number } = {
  correlation: 0.87,
  significance: 10,
};

/** Whether the candidate may be relied on; the rest are the same ground in other light, or chance. */
export function isCertain(candidate: SimilarityCandidate): boolean {
  return candidate.correlation >= SEARCH_CERTAIN.correlation && candidate.significance >= SEARCH_CERTAIN.significance;
}

/**
 * Where one picture lies on another, under any turn and scale in the ranges and for any shift that leaves a common
 * part: local features (Lowe 2004) propose poses, a robust vote sorts them, least squares on the detail draws them in,
 * and the normalised correlation over the common ground, limb and sky left out, judges. Best first; empty when nothing
 * is alike. Right to about a tenth of a px of the coarser picture, or of the working size of 1024 px for the lit part.
 * Throws RangeError for a range that is empty.
 */
export function searchSimilarity(fixed: Masked, moving: Masked, ranges: SearchRanges): SimilarityCandidate[] {
  return searchPrepared(prepareSearchPicture(fixed), prepareSearchPicture(moving), ranges);
}

/** {@link searchSimilarity} of pictures that were made ready once for several comparisons. */
export function searchPrepared(
  fixed: SearchPicture,
  moving: SearchPicture,
  ranges: SearchRanges,
): SimilarityCandidate[] {
  checkRanges(ranges);
  const pairs = pairFeatures(fixed.features, moving.features, ranges);
  const found: SimilarityCandidate[] = [];
  const tried: Affine[] = [];
  for (const { map } of votes(pairs, ranges, TOLERANCE_PX * fixed.stepX)) {
    if (tried.length >= MOST_CHECKS) break;
    const start = { xx: map.a, xy: -map.b, yx: map.b, yy: map.a, tx: map.tx, ty: map.ty };
    if (tried.some((pose) => apartPx(pose, start, moving) < ALIKE_PX * fixed.stepX)) continue;
    tried.push(start);
    const check = checkPose(fixed, moving, start);
    if (!check || !isWithin(check.pose, ranges)) continue;
    const candidate = {
      pose: check.pose,
      scale: Math.hypot(check.pose.xx, check.pose.yx),
      rotationDeg: rotationDegOf(check.pose),
      overlap: check.overlap,
      ...judged(check.bands),
    };
    if (candidate.significance < LEAST_SIGNIFICANCE || candidate.overlap < LEAST_OVERLAP) continue;
    found.push(candidate);
    if (isCertain(candidate) || found.length >= MOST_FOUND) break;
  }
  return found.sort((p, q) => q.significance - p.significance);
}

/** Features agree with a pose within this, px of the fixed picture's working size. */
const TOLERANCE_PX = 4;
/** Poses that carry every corner this near to a pose that was tried are the same one. */
const ALIKE_PX = 8;
const MOST_CHECKS = 12;
/** Other ground hardly ever reaches this; candidates below it say nothing. */
const LEAST_SIGNIFICANCE = 5;
const LEAST_OVERLAP = 0.05;
/** Ground that is found this often without certainty is seen in other light. */
const MOST_FOUND = 2;
/** Standard errors by which a scale's correlation is lowered before the scales are compared. */
const DOUBT = 3;

function checkRanges({ rotationDeg, scale }: SearchRanges): void {
  if (rotationDeg !== 'any' && !(rotationDeg[0] <= rotationDeg[1]))
    throw new RangeError(`rotationDeg must be [least, largest] or 'any', got [${rotationDeg.join(', ')}]`);
  if (!(scale[0] > 0 && scale[0] <= scale[1] && scale[1] < Infinity))
    throw new RangeError(`scale must be [least, largest], both above 0, got [${scale.join(', ')}]`);
}

/** The scale whose correlation is the highest after a deduction for how few samples it rests on. */
function judged(bands: readonly BandCheck[]): { correlation: number; significance: number } {
  let best = { correlation: 0, significance: 0, bound: -1 };
  for (const { correlation, samples } of bands) {
    if (samples <= 4) continue;
    const root = Math.sqrt(samples - 3);
    const z = Math.atanh(Math.max(-0.999, Math.min(0.999, correlation)));
    const bound = Math.tanh(z - DOUBT / root);
    if (bound > best.bound) best = { correlation, significance: z * root, bound };
  }
  return { correlation: best.correlation, significance: best.significance };
}

function isWithin(pose: Affine, ranges: SearchRanges): boolean {
  const scale = Math.hypot(pose.xx, pose.yx);
  return (
    scale >= ranges.scale[0] &&
    scale <= ranges.scale[1] &&
    isTurnWithin(Math.atan2(pose.yx, pose.xx), ranges.rotationDeg, 0)
  );
}

/** Farthest that two poses carry a corner of the picture's working part apart, px of the fixed picture. */
function apartPx(p: Affine, q: Affine, moving: SearchPicture): number {
  let most = 0;
  for (const x of [moving.originX, moving.originX + moving.light.width * moving.stepX]) {
    for (const y of [moving.originY, moving.originY + moving.light.height * moving.stepY]) {
      most = Math.max(most, Math.hypot(applyX(p, x, y) - applyX(q, x, y), applyY(p, x, y) - applyY(q, x, y)));
    }
  }
  return most;
}
