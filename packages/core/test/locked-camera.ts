import type { Rig } from '../src/plan/plan-options.js';
import { ARCSEC, DEG } from '../src/sky/angles.js';
import { ephemeris } from '../src/sky/ephemeris.js';
import { type InFrame, inLockedFrame, type LockedCamera } from '../src/sky/locked-camera.js';

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
  const paths: InFrame[][] = places.map(() => []);
  for (const at of momentsMs) {
    const body = ephemeris(rig.body, new Date(at), rig.site, rig.air);
    const radius = ARCSEC * Math.tan((body.angularDiameterArcsec / 2 / 3600) * DEG);
    places.forEach(({ west, north }, k) => {
      const place = { xArcsec: west * radius, yArcsec: north * radius };
      paths[k]!.push(inLockedFrame(camera, body, rig.air, place));
    });
  }
  return paths;
}
