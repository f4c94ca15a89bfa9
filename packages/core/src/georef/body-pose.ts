import { type Affine, applyX, applyY, invert } from '../compute/affine.js';
import { type BodyFrame, bodyToSky, limbRadiusArcsec, skyToBody } from '../sky/body-frame.js';
import type { BodyPoint } from '../sky/types.js';

/** Where a body lies on a plate: from longitude and latitude (space 6) to plate px (space 4) and back. */
export interface BodyPose {
  /** Size, distance and libration. The axis' position angle on the sky plays no part here. */
  readonly frame: BodyFrame;
  /**
   * From the disc's plane to the plate. In that plane the limb is the unit circle about (0, 0), the body's north lies
   * along y upwards, and its east along x.
   */
  readonly toPlate: Affine;
}

/** A place on the plate, and whether the ground there faces the observer. */
export interface PlatePlace {
  readonly x: number;
  readonly y: number;
  readonly visible: boolean;
}

/** The plate's pixel at which a point of the body lies; one on the far side of the limb is not visible there. */
export function bodyToPlate({ frame, toPlate }: BodyPose, point: BodyPoint): PlatePlace {
  const { u, v, visible } = bodyToDisc(frame, point);
  return { x: applyX(toPlate, u, v), y: applyY(toPlate, u, v), visible };
}

/** The point of the body that a place on the plate shows; null off the disc. */
export function plateToBody({ frame, toPlate }: BodyPose, x: number, y: number): BodyPoint | null {
  const back = invert(toPlate);
  return discToBody(frame, applyX(back, x, y), applyY(back, x, y));
}

/** A point of the body in the disc's plane, see {@link BodyPose.toPlate}. */
export function bodyToDisc(frame: BodyFrame, point: BodyPoint): { u: number; v: number; visible: boolean } {
  const upright = { ...frame, axisPositionAngleDeg: 0 };
  const radius = limbRadiusArcsec(frame);
  const { xArcsec, yArcsec, visible } = bodyToSky(upright, point);
  return { u: xArcsec / radius, v: yArcsec / radius, visible };
}

/** The point of the body at a place of the disc's plane; null beyond the limb. */
export function discToBody(frame: BodyFrame, u: number, v: number): BodyPoint | null {
  const upright = { ...frame, axisPositionAngleDeg: 0 };
  const radius = limbRadiusArcsec(frame);
  return skyToBody(upright, { xArcsec: u * radius, yArcsec: v * radius });
}

/** The disc's plane on a plate whose disc is round, its axis turned by `axisDeg` clockwise from up. */
export function roundDisc(centreX: number, centreY: number, radiusPx: number, axisDeg: number): Affine {
  const axis = (axisDeg * Math.PI) / 180;
  const [sin, cos] = [Math.sin(axis) * radiusPx, Math.cos(axis) * radiusPx];
  return { xx: cos, xy: sin, yx: sin, yy: -cos, tx: centreX, ty: centreY };
}
