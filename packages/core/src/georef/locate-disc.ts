import { invertSymmetric } from '../compute/small-solve.js';
import { findLimb } from '../placement/limb.js';
import type { ViewDisc } from './find-pose.js';
import type { RoundView } from './round-view.js';

/** A disc on a view, with what is known of it. */
export interface LocatedDisc extends ViewDisc {
  /** Of (centreX, centreY, radiusPx), row-major, px² of the view; the body's own unevenness included. */
  readonly covariance: readonly number[];
  /** Its inverse. */
  readonly weight: readonly number[];
}

/**
 * The Moon's limb is uneven, and its figure is off its centre: an arc of it errs by about half a kilometre in centre and
 * radius, as a share of the radius.
 */
const UNEVEN_SHARE = 3e-4;

/** The disc on a view whose disc is round, by its lit limb; null where none is found. */
export function locateDisc({ light, coverage }: RoundView): LocatedDisc | null {
  const limb = findLimb(light, coverage);
  if (!limb) return null;
  const covariance = Float64Array.from(limb.covariance);
  for (const i of [0, 4, 8]) covariance[i]! += (UNEVEN_SHARE * limb.radiusPx) ** 2;
  const weight = invertSymmetric(covariance, 3);
  if (!weight) return null;
  const { centreX, centreY, radiusPx } = limb;
  return { centreX, centreY, radiusPx, covariance: Array.from(covariance), weight: Array.from(weight) };
}
