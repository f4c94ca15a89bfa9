import { type Affine, applyX, applyY, compose, invert, translation } from '../compute/affine.js';
import { defineTask, type Task } from '../compute/task.js';
import type { Masked } from '../registration/lock.js';
import { findLimb, type LimbFit } from './limb.js';

/** Looks for the limb of a strip, in a worker. */
export const limbTask: Task<Masked, LimbFit | null> = defineTask('placement/limb');

export function runLimb({ light, coverage }: Masked): LimbFit | null {
  return findLimb(light, coverage);
}

/** A disc in the common space of a group of strips: centre and radius, px, with their covariance, 3 × 3 row-major. */
export interface GroupDisc {
  readonly x: number;
  readonly y: number;
  readonly radiusPx: number;
  readonly covariance: readonly number[];
}

/** The best limb among the strips of a group, taken into the group's common space. Poses there turn by little. */
export function discOfGroup(
  limbs: readonly { readonly limb: LimbFit | null; readonly pose: Affine }[],
): GroupDisc | null {
  let best: GroupDisc | null = null;
  for (const { limb, pose } of limbs) {
    if (!limb || (best && best.covariance[8]! <= limb.covariance[8]!)) continue;
    best = {
      x: applyX(pose, limb.centreX, limb.centreY),
      y: applyY(pose, limb.centreX, limb.centreY),
      radiusPx: limb.radiusPx,
      covariance: limb.covariance,
    };
  }
  return best;
}

/** Radii of one night's strips agree within this many σ, with a little for refraction and the air. */
const AGREE_SIGMA = 4;
const AGREE_SHARE = 0.01;
/** A centre that is known no better than this share of the radius places nothing. */
const DOUBT_SHARE = 0.05;

/**
 * Shift that lays the disc of one group of strips on that of another, when both see the same body: the radius is
 * common, so each centre is first corrected for what its own radius was off. The turn between the groups is no matter
 * of the limb (see turnByWay). Null when the radii contradict each other or a centre is too uncertain.
 */
export function shiftByLimb(fixed: GroupDisc, moving: GroupDisc): Affine | null {
  const fixedVariance = fixed.covariance[8]!;
  const movingVariance = moving.covariance[8]!;
  const apart = Math.abs(fixed.radiusPx - moving.radiusPx);
  const allowed = AGREE_SIGMA * Math.sqrt(fixedVariance + movingVariance) + AGREE_SHARE * fixed.radiusPx;
  if (apart > allowed) return null;
  const radiusPx =
    (fixed.radiusPx * movingVariance + moving.radiusPx * fixedVariance) / (fixedVariance + movingVariance);
  const a = centreGiven(fixed, radiusPx);
  const b = centreGiven(moving, radiusPx);
  if (Math.max(a.doubtPx, b.doubtPx) > DOUBT_SHARE * radiusPx) return null;
  return translation(a.x - b.x, a.y - b.y);
}

/** Least share of the smaller strip that two strips have in common before the ground there must agree. */
const LEAST_COMMON = 0.05;

/**
 * Whether a placement by limb lays strips on each other that no overlap was recognised in: then they do not show the
 * same body, or not in that place. Poses map strip px to a common space.
 */
export function contradicts(
  placed: readonly { readonly masked: Masked; readonly pose: Affine }[],
  moving: readonly { readonly masked: Masked; readonly pose: Affine }[],
): boolean {
  return moving.some((m) => placed.some((p) => commonShare(p, m) > LEAST_COMMON));
}

/** Share of the smaller strip's covered ground that both cover. */
function commonShare(
  a: { readonly masked: Masked; readonly pose: Affine },
  b: { readonly masked: Masked; readonly pose: Affine },
): number {
  const [small, large] = area(a.masked) < area(b.masked) ? [a, b] : [b, a];
  const relative = compose(invert(large.pose), small.pose);
  const { width, height } = small.masked.light;
  let covered = 0;
  let common = 0;
  for (let y = 0; y < height; y += COMMON_STRIDE) {
    for (let x = 0; x < width; x += COMMON_STRIDE) {
      if (!isCovered(small.masked, x, y)) continue;
      covered++;
      const u = Math.round(applyX(relative, x, y));
      const v = Math.round(applyY(relative, x, y));
      if (isCovered(large.masked, u, v)) common++;
    }
  }
  return covered > 0 ? common / covered : 0;
}

const COMMON_STRIDE = 4;

function area({ light }: Masked): number {
  return light.width * light.height;
}

function isCovered({ light, coverage }: Masked, x: number, y: number): boolean {
  if (x < 0 || y < 0 || x >= light.width || y >= light.height) return false;
  return coverage === undefined || coverage.data[y * light.width + x]! > 0;
}

/** Mean and spread of the centre, were the radius known (conditional Gaussian). */
function centreGiven(disc: GroupDisc, radiusPx: number): { x: number; y: number; doubtPx: number } {
  const c = disc.covariance;
  const off = (radiusPx - disc.radiusPx) / c[8]!;
  const varianceX = c[0]! - (c[2]! * c[6]!) / c[8]!;
  const varianceY = c[4]! - (c[5]! * c[7]!) / c[8]!;
  return { x: disc.x + c[2]! * off, y: disc.y + c[5]! * off, doubtPx: Math.sqrt(Math.max(0, varianceX, varianceY)) };
}
