import { type Affine, applyX, applyY } from '../compute/affine.js';
import type { BodyFrame } from '../sky/body-frame.js';
import type { BodyPoint } from '../sky/types.js';
import { bodyToDisc, roundDisc } from './body-pose.js';
import { type Ground, groundUnder, newGround, type Standpoint } from './disc-sampler.js';

/** A disc on a view: round, px of the view. */
export interface ViewDisc {
  readonly centreX: number;
  readonly centreY: number;
  readonly radiusPx: number;
}

/** A disc, its axis clockwise from up, and where the observer stands. */
export interface PosedDisc extends ViewDisc, Standpoint {
  readonly axisDeg: number;
}

/** From the disc's plane (see `BodyPose.toPlate`) to the view. */
export function discToView({ centreX, centreY, radiusPx, axisDeg }: PosedDisc): Affine {
  return roundDisc(centreX, centreY, radiusPx, axisDeg);
}

/** The body as the observer sees it, in units of its radius, its axis upright. */
export function frameOfDisc({ distanceRadii, subObserver }: Standpoint): BodyFrame {
  return { radiusKm: 1, distanceKm: distanceRadii, subObserver, subSolar: null, axisPositionAngleDeg: 0 };
}

/** Where a pose puts a point of the body on the view. */
export function placeOf(pose: PosedDisc, point: BodyPoint): { x: number; y: number } {
  const { u, v } = bodyToDisc(frameOfDisc(pose), point);
  const to = discToView(pose);
  return { x: applyX(to, u, v), y: applyY(to, u, v) };
}

/** The ground under places of the view, for many of them; false off the disc. */
export function groundFinder(pose: PosedDisc): (x: number, y: number, into: Ground) => boolean {
  const { centreX, centreY, radiusPx } = pose;
  const { xx, xy, yx, yy } = roundDisc(0, 0, 1, pose.axisDeg);
  const under = groundUnder(pose);
  // The plane's map is a turn and a mirror: its own inverse is its transpose.
  return (x, y, into) => {
    const [i, j] = [(x - centreX) / radiusPx, (y - centreY) / radiusPx];
    return under(i * xx + j * yx, i * xy + j * yy, into);
  };
}

/** The ground that a place of the view shows; null off the disc. */
export function groundOf(pose: PosedDisc, x: number, y: number): BodyPoint | null {
  const ground = newGround();
  return groundFinder(pose)(x, y, ground)
    ? { longitudeDeg: ground.longitudeDeg, latitudeDeg: ground.latitudeDeg }
    : null;
}
