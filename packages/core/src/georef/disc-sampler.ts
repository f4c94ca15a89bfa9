import { DEG } from '../sky/angles.js';
import type { BodyPoint } from '../sky/types.js';

/** Where the observer stands over the body, and how far away. */
export interface Standpoint {
  readonly subObserver: BodyPoint;
  /** From the body's centre, in radii. */
  readonly distanceRadii: number;
}

/** Longitude and latitude, degrees, of a place of the disc's plane; reused between calls. */
export interface Ground {
  longitudeDeg: number;
  latitudeDeg: number;
  /** Unit normal in the axes right, up, towards the observer's standpoint. */
  right: number;
  up: number;
  near: number;
}

/**
 * The fast way from the disc's plane (limb = unit circle, body's north upwards) to the ground, for whole pictures of a
 * disc: the near-side perspective of `skyToBody`, with everything that does not change from pixel to pixel worked out
 * once. The function returns false beyond the limb.
 */
export function groundUnder({
  subObserver,
  distanceRadii: d,
}: Standpoint): (u: number, v: number, into: Ground) => boolean {
  const sin = Math.sin(subObserver.latitudeDeg * DEG);
  const cos = Math.cos(subObserver.latitudeDeg * DEG);
  // Radius of the limb in the tangent plane at the body's centre, in radians.
  const limb = 1 / Math.sqrt(d * d - 1);
  return (u, v, into) => {
    const [x, y] = [u * limb, v * limb];
    const away = x * x + y * y;
    const slant = 1 + away;
    const inside = slant - d * d * away;
    if (!(inside >= 0)) return false;
    const depth = (d - Math.sqrt(inside)) / slant;
    into.right = depth * x;
    into.up = depth * y;
    into.near = d - depth;
    const level = into.near * cos - into.up * sin;
    into.latitudeDeg = Math.asin(Math.max(-1, Math.min(1, into.near * sin + into.up * cos))) / DEG;
    into.longitudeDeg = Math.atan2(into.right, level) / DEG + subObserver.longitudeDeg;
    return true;
  };
}

/** A place to write to. */
export function newGround(): Ground {
  return { longitudeDeg: 0, latitudeDeg: 0, right: 0, up: 0, near: 0 };
}
