import { createPlane, type Plane } from '../compute/image.js';
import { invertSymmetric } from '../compute/small-solve.js';
import type { LimbFit } from '../placement/limb.js';
import { findShownLimb } from '../placement/shown-limb.js';
import { DEG, signedDeg } from '../sky/angles.js';
import type { ViewDisc } from './posed-disc.js';
import type { RoundView } from './round-view.js';

/** A disc on a view, with what is known of it. */
export interface LocatedDisc extends ViewDisc {
  /** Of (centreX, centreY, radiusPx), row-major, px² of the view; the body's own unevenness included. */
  readonly covariance: readonly number[];
  /** Its inverse. */
  readonly weight: readonly number[];
}

/** Where the Sun stands to a disc. */
export interface SunSide {
  /** Middle of the bright limb, degrees clockwise from up on the view. */
  readonly towardsDeg: number;
  readonly phaseAngleDeg: number;
}

/**
 * The Moon's limb is uneven, and its figure is off its centre: an arc of it errs by about half a kilometre in centre and
 * radius, as a share of the radius.
 */
const UNEVEN_SHARE = 3e-4;

/** The disc on a view whose disc is round, by its lit limb; null where none is found. */
export function locateDisc({ light, coverage }: RoundView): LocatedDisc | null {
  const limb = findShownLimb(light, coverage);
  return limb && located(limb);
}

/** A full disc has neither terminator nor cusps, phase in degrees. */
const FULL_DEG = 1;
/** The limb is lit to 90 degrees from its middle; near the cusps only where ground stands out. */
const LIT_ARC_DEG = 80;
/** Ring around the limb in which the unlit side is hidden, radii. */
const HIDDEN_FROM = 0.8;

/**
 * The same once it is known where the Sun stands. Towards the cusps more and more of the limb lies in the shadow of its
 * relief, and on a nearly full disc the terminator is within a few pixels of the far limb: both would draw the fit inwards,
 * so only the limb well on the Sun's side is looked at. The first fit stays where that leaves nothing.
 */
export function relocateDisc(view: RoundView, first: LocatedDisc, sun: SunSide | null): LocatedDisc {
  if (!sun || sun.phaseAngleDeg < FULL_DEG) return first;
  const limb = findShownLimb(view.light, litOnly(view.coverage, first, sun.towardsDeg));
  return (limb && located(limb)) ?? first;
}

function located(limb: LimbFit): LocatedDisc | null {
  const covariance = Float64Array.from(limb.covariance);
  for (const i of [0, 4, 8]) covariance[i]! += (UNEVEN_SHARE * limb.radiusPx) ** 2;
  const weight = invertSymmetric(covariance, 3);
  if (!weight) return null;
  const { centreX, centreY, radiusPx } = limb;
  return { centreX, centreY, radiusPx, covariance: Array.from(covariance), weight: Array.from(weight) };
}

/** The coverage without the surroundings of the limb away from the Sun. */
function litOnly(coverage: Plane, { centreX, centreY, radiusPx }: ViewDisc, towardsDeg: number): Plane {
  const out = createPlane(coverage.width, coverage.height);
  out.data.set(coverage.data);
  for (let y = 0; y < out.height; y++) {
    for (let x = 0; x < out.width; x++) {
      const [dx, dy] = [x - centreX, y - centreY];
      if (Math.hypot(dx, dy) < HIDDEN_FROM * radiusPx) continue;
      const offDeg = Math.abs(signedDeg(Math.atan2(dx, -dy) / DEG - towardsDeg));
      if (offDeg > LIT_ARC_DEG) out.data[y * out.width + x] = 0;
    }
  }
  return out;
}
