import type { Rig } from '../src/plan/plan-options.js';
import { ARCSEC, addScaled, DEG, dot, scaled, type Vec3 } from '../src/sky/angles.js';
import { ephemeris } from '../src/sky/ephemeris.js';
import { throughAir } from '../src/sky/through-air.js';

/** A camera that stands still: where its middle points over the horizon, and its turn against the vertical there. */
export interface LockedCamera {
  readonly altitudeDeg: number;
  readonly azimuthDeg: number;
  readonly rollFromVerticalDeg: number;
}

/** Where a point is in the frame, arcseconds from its middle, x right and y up. */
export interface InFrame {
  readonly x: number;
  readonly y: number;
}

/** A place on the disc without air, radii from its centre: to the west and to the north. */
export interface DiscPlace {
  readonly west: number;
  readonly north: number;
}

/**
 * Follows places of the disc through the frame of a camera that stands still, step by step: the sky is asked anew at each
 * moment, nothing is known of drift, bend or turn.
 */
export function follow(
  rig: Rig,
  camera: LockedCamera,
  momentsMs: readonly number[],
  places: readonly DiscPlace[],
): InFrame[][] {
  const axes = axesAt(camera.altitudeDeg, camera.azimuthDeg);
  const [cos, sin] = [Math.cos(camera.rollFromVerticalDeg * DEG), Math.sin(camera.rollFromVerticalDeg * DEG)];
  const right = addScaled(scaled(axes.right, cos), axes.up, sin);
  const up = addScaled(scaled(axes.up, cos), axes.right, -sin);
  const paths: InFrame[][] = places.map(() => []);
  for (const at of momentsMs) {
    const body = ephemeris(rig.body, new Date(at), rig.site, rig.air);
    const seen = axesAt(body.apparentAltitudeDeg, body.azimuthDeg);
    const q = body.parallacticAngleDeg * DEG;
    const radius = ARCSEC * Math.tan((body.angularDiameterArcsec / 2 / 3600) * DEG);
    places.forEach(({ west, north }, k) => {
      const place = throughAir(body, rig.air, { xArcsec: west * radius, yArcsec: north * radius });
      const [x, y] = [place.xArcsec / ARCSEC, place.yArcsec / ARCSEC];
      const sideways = addScaled(seen.centre, seen.right, x * Math.cos(q) + y * Math.sin(q));
      const towards = addScaled(sideways, seen.up, y * Math.cos(q) - x * Math.sin(q));
      const depth = dot(towards, axes.centre) / ARCSEC;
      paths[k]!.push({ x: dot(towards, right) / depth, y: dot(towards, up) / depth });
    });
  }
  return paths;
}

/** Unit vectors of east, north and up. */
function axesAt(altitudeDeg: number, azimuthDeg: number): { centre: Vec3; right: Vec3; up: Vec3 } {
  const [h, a] = [altitudeDeg * DEG, azimuthDeg * DEG];
  return {
    centre: [Math.cos(h) * Math.sin(a), Math.cos(h) * Math.cos(a), Math.sin(h)],
    right: [Math.cos(a), -Math.sin(a), 0],
    up: [-Math.sin(h) * Math.sin(a), -Math.sin(h) * Math.cos(a), Math.cos(h)],
  };
}
