import type { Plane } from '../compute/image.js';
import { type Disc, outside } from './fit-disc.js';
import { isKnown } from './limb-points.js';
import type { RadialProfile } from './step-profile.js';

/** Where along the edge a profile is taken, and how large it is. */
export interface ProfilePlace {
  /** Position angle from the disc's centre, radians, from +x towards +y. */
  readonly angle: number;
  /** Half the length along the edge, px. */
  readonly halfLengthPx: number;
  /** How far inside and outside the assumed edge it reaches, px. */
  readonly insidePx: number;
  readonly outsidePx: number;
}

/** A profile and the share of its inner pixels that lie at the clipping point. */
export interface LimbProfile {
  readonly profile: RadialProfile;
  readonly clipped: number;
}

/**
 * Gathers the pixels around a place on the edge by their true distance from it, without resampling the picture.
 * Undefined when part of the window lies outside the picture or is no data.
 */
export function gatherProfile(
  light: Plane,
  coverage: Plane | undefined,
  disc: Disc,
  place: ProfilePlace,
): LimbProfile | undefined {
  const { width, height } = light;
  const { insidePx, outsidePx, halfLengthPx } = place;
  const ux = Math.cos(place.angle);
  const uy = Math.sin(place.angle);
  const edgeX = disc.centreX + disc.radiusPx * ux;
  const edgeY = disc.centreY + disc.radiusPx * disc.stretch * uy;
  for (const along of [-halfLengthPx, halfLengthPx]) {
    for (const across of [-insidePx, outsidePx]) {
      const x = edgeX + across * ux - along * uy;
      const y = edgeY + across * uy + along * ux;
      if (x < 0 || y < 0 || x > width - 1 || y > height - 1) return undefined;
    }
  }
  const bins = Math.round((insidePx + outsidePx) * BINS_PER_PX);
  const distance = new Float64Array(bins);
  const value = new Float64Array(bins);
  const count = new Float64Array(bins);
  let inner = 0;
  let clipped = 0;
  for (let along = -halfLengthPx; along <= halfLengthPx; along++) {
    for (let across = -Math.ceil(insidePx) - 1; across <= outsidePx + 1; across++) {
      const x = Math.round(edgeX + across * ux - along * uy);
      const y = Math.round(edgeY + across * uy + along * ux);
      if (x < 0 || y < 0 || x >= width || y >= height) continue;
      const off = outside(disc, x, y);
      const bin = Math.floor((off + insidePx) * BINS_PER_PX);
      if (bin < 0 || bin >= bins) continue;
      const i = y * width + x;
      if (!isKnown(light, coverage, i)) return undefined;
      const v = light.data[i]!;
      distance[bin]! += off;
      value[bin]! += v;
      count[bin]!++;
      if (off < -2) {
        inner++;
        if (v >= CLIPPED) clipped++;
      }
    }
  }
  return { profile: compact(distance, value, count), clipped: inner === 0 ? 0 : clipped / inner };
}

const BINS_PER_PX = 4;
/** Light from which on a pixel counts as clipped. */
const CLIPPED = 0.985;

function compact(distance: Float64Array, value: Float64Array, count: Float64Array): RadialProfile {
  const filled = [...count.keys()].filter((k) => count[k]! > 0);
  return {
    distance: Float64Array.from(filled, (k) => distance[k]! / count[k]!),
    value: Float64Array.from(filled, (k) => value[k]! / count[k]!),
    count: Float64Array.from(filled, (k) => count[k]!),
  };
}

/** Outward distance at which the light falls most steeply over a few px: where a fit can start. */
export function steepest(profile: RadialProfile, halfPx: number): number | undefined {
  const { distance, value, count } = profile;
  let best = 0;
  let where: number | undefined;
  const first = distance[0]! + halfPx;
  const last = distance[distance.length - 1]! - halfPx;
  for (let centre = first; centre <= last; centre += 0.5) {
    let inSum = 0;
    let inCount = 0;
    let outSum = 0;
    let outCount = 0;
    for (let k = 0; k < distance.length; k++) {
      const off = distance[k]! - centre;
      if (off < -halfPx || off > halfPx) continue;
      if (off < 0) {
        inSum += value[k]! * count[k]!;
        inCount += count[k]!;
      } else {
        outSum += value[k]! * count[k]!;
        outCount += count[k]!;
      }
    }
    if (inCount === 0 || outCount === 0) continue;
    const drop = inSum / inCount - outSum / outCount;
    if (drop > best) {
      best = drop;
      where = centre;
    }
  }
  return where;
}
