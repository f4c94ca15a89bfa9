import { ARCSEC, addScaled, DEG, dot, scaled, type Vec3 } from './angles.js';
import type { Ephemeris } from './ephemeris.js';
import { throughAir } from './through-air.js';
import type { Air, SkyPoint } from './types.js';

/** A camera that stands still: where its middle points over the horizon, and its turn against the vertical there, degrees. */
export interface LockedCamera {
  readonly altitudeDeg: number;
  readonly azimuthDeg: number;
  /** Of the frame's upper edge, from north through east. */
  readonly rollFromVerticalDeg: number;
}

/** Where a point is in the frame, arcseconds from its middle, x right and y up. */
export interface InFrame {
  readonly x: number;
  readonly y: number;
}

/**
 * Where a camera that stands still sees a place near a body at the moment of an ephemeris (taken with the same air): exact,
 * without any law of drift. The place is one of the tangent plane without air (space 5).
 */
export function inLockedFrame(camera: LockedCamera, body: Ephemeris, air: Air, place: SkyPoint): InFrame {
  const axes = axesAt(camera.altitudeDeg, camera.azimuthDeg);
  const [cos, sin] = [Math.cos(camera.rollFromVerticalDeg * DEG), Math.sin(camera.rollFromVerticalDeg * DEG)];
  const right = addScaled(scaled(axes.right, cos), axes.up, sin);
  const up = addScaled(scaled(axes.up, cos), axes.right, -sin);
  const seen = axesAt(body.apparentAltitudeDeg, body.azimuthDeg);
  const q = body.parallacticAngleDeg * DEG;
  const raised = throughAir(body, air, place);
  const [x, y] = [raised.xArcsec / ARCSEC, raised.yArcsec / ARCSEC];
  const sideways = addScaled(seen.centre, seen.right, x * Math.cos(q) + y * Math.sin(q));
  const towards = addScaled(sideways, seen.up, y * Math.cos(q) - x * Math.sin(q));
  const depth = dot(towards, axes.centre) / ARCSEC;
  return { x: dot(towards, right) / depth, y: dot(towards, up) / depth };
}

/** Unit vectors to the middle, to the right and up, along the horizon's east, north and up. */
function axesAt(altitudeDeg: number, azimuthDeg: number): { centre: Vec3; right: Vec3; up: Vec3 } {
  const [h, a] = [altitudeDeg * DEG, azimuthDeg * DEG];
  return {
    centre: [Math.cos(h) * Math.sin(a), Math.cos(h) * Math.cos(a), Math.sin(h)],
    right: [Math.cos(a), -Math.sin(a), 0],
    up: [-Math.sin(h) * Math.sin(a), -Math.sin(h) * Math.cos(a), Math.cos(h)],
  };
}
