import { type Affine, applyX, applyY, poseAbout } from '../compute/affine.js';
import type { Heading } from './heading.js';
import type { GroupDisc } from './limb-place.js';

/** The way of the sky in a group's space, as it would be at the disc's centre. */
export interface GroupWay {
  /** Radians, x towards y; a way and its reverse count as the same. */
  readonly angleRad: number;
  readonly sigmaRad: number;
}

/** Mean way of a group's passes, each taken along the field's rotation to where it passes the disc's centre. */
export function wayOfGroup(
  headings: readonly { readonly heading: Heading | undefined; readonly pose: Affine }[],
  disc: GroupDisc,
): GroupWay | null {
  let sum = 0;
  let weight = 0;
  let first: number | undefined;
  for (const { heading, pose } of headings) {
    if (!heading) continue;
    const [cos, sin] = [Math.cos(heading.angleRad), Math.sin(heading.angleRad)];
    const angle = Math.atan2(pose.yx * cos + pose.yy * sin, pose.xx * cos + pose.xy * sin);
    const along =
      (disc.x - applyX(pose, heading.x, heading.y)) * Math.cos(angle) +
      (disc.y - applyY(pose, heading.x, heading.y)) * Math.sin(angle);
    const atCentre = angle + heading.ratePerPx * along;
    first ??= atCentre;
    sum += (first + halfTurn(atCentre - first)) / heading.sigmaRad ** 2;
    weight += 1 / heading.sigmaRad ** 2;
  }
  return weight > 0 ? { angleRad: sum / weight, sigmaRad: Math.sqrt(1 / weight) } : null;
}

/** A way that is known no better than this turns nothing: a camera is aimed again as well by hand. */
export const WAY_DOUBT_RAD = 0.01;

/**
 * Turn about the disc's centre that makes the way of the sky in one group that of another: the body runs along the
 * same circle of declination in all passes, however the camera was turned between them. Null where a way is unknown.
 */
export function turnByWay(fixed: GroupWay | null, moving: GroupWay | null, disc: GroupDisc): Affine | null {
  if (!fixed || !moving || Math.hypot(fixed.sigmaRad, moving.sigmaRad) > WAY_DOUBT_RAD) return null;
  const rotationDeg = (halfTurn(fixed.angleRad - moving.angleRad) * 180) / Math.PI;
  return poseAbout(disc, { shiftX: 0, shiftY: 0, rotationDeg });
}

/** A disc after a turn about its own centre: its doubt turns with it. */
export function turnedDisc(disc: GroupDisc, turn: Affine): GroupDisc {
  const { xx: c, yx: s } = turn;
  const rotation = [c, -s, 0, s, c, 0, 0, 0, 1];
  const product = (a: readonly number[], b: readonly number[], transposed: boolean): number[] =>
    Array.from({ length: 9 }, (_, k) => {
      const [i, j] = [Math.floor(k / 3), k % 3];
      return [0, 1, 2].reduce((sum, l) => sum + a[3 * i + l]! * b[transposed ? 3 * j + l : 3 * l + j]!, 0);
    });
  return { ...disc, covariance: product(product(rotation, disc.covariance, false), rotation, true) };
}

/** Brings an angle between two ways, radians, into ±90°. */
export function halfTurn(angle: number): number {
  return angle - Math.PI * Math.round(angle / Math.PI);
}
