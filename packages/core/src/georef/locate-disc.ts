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
 * The Moon's limb is uneven: its height scatters by half an arcsecond of the 932 of its radius (Watts 1963), alike over some
 * degrees.
 */
const UNEVEN_SHARE = 5e-4;
const ALIKE_DEG = 5;
/**
 * Nor does the limb as a whole stand where that of the mean sphere would, along which ground is counted: on the Moon it is
 * some 0.7 km farther out, since peaks hide what lies between them (k = 0.2725076 of eclipse reckoning, 1737.4 km).
 */
const OFF_SPHERE_SHARE = 4e-4;

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
  const { centreX, centreY, radiusPx, covariance } = limb;
  const more = 1 + unevenVariance(limb) / covariance[8]!;
  const uneven = covariance.map((v) => v * more);
  uneven[8]! += (OFF_SPHERE_SHARE * radiusPx) ** 2;
  return weighed({ centreX, centreY, radiusPx }, uneven);
}

function weighed(disc: ViewDisc, covariance: readonly number[]): LocatedDisc | null {
  const weight = invertSymmetric(Float64Array.from(covariance), 3);
  return weight ? { ...disc, covariance, weight: Array.from(weight) } : null;
}

/**
 * Variance of the radius of a circle through an arc whose height scatters from one piece to the next. Centre and radius of
 * less than a full circle err together, as they do from noise.
 */
function unevenVariance({ arcDeg, radiusPx }: LimbFit): number {
  const half = (Math.min(arcDeg, 360) / 2) * DEG;
  const [first, second] = [Math.sin(half) / half, 0.5 + Math.sin(2 * half) / (4 * half)];
  const pieces = Math.max(1, arcDeg / ALIKE_DEG);
  return ((UNEVEN_SHARE * radiusPx) ** 2 * second) / ((second - first ** 2) * pieces);
}

/** How large a disc is on a view as something else than its limb tells. */
export interface KnownSize {
  readonly radiusPx: number;
  readonly sigmaPx: number;
}

/** More standard deviations between what limb and clock say of the size mean that the clock is not to be believed. */
const MOST_SIGMA = 4;

/** A disc whose size is known from elsewhere, too: where the limb is an arc, its centre moves with its radius. */
export function withSize(disc: LocatedDisc, size: KnownSize | null): LocatedDisc {
  if (!size) return disc;
  const { covariance } = disc;
  const off = size.radiusPx - disc.radiusPx;
  const variance = covariance[8]! + size.sigmaPx ** 2;
  if (off ** 2 > MOST_SIGMA ** 2 * variance) return disc;
  const gain = [2, 5, 8].map((i) => covariance[i]! / variance);
  const left = covariance.map((v, i) => v - gain[Math.floor(i / 3)]! * covariance[6 + (i % 3)]!);
  const moved = {
    centreX: disc.centreX + gain[0]! * off,
    centreY: disc.centreY + gain[1]! * off,
    radiusPx: disc.radiusPx + gain[2]! * off,
  };
  return weighed(moved, left) ?? disc;
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
