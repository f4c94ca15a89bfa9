import type { Plane } from '../compute/image.js';
import { type Disc, outside } from './fit-disc.js';
import { isKnown } from './limb-points.js';
import type { RadialProfile } from './step-profile.js';

/** How the surroundings of an edge are divided into sectors of equal angle. */
export interface SectorGrid {
  /** Where the first begins, radians, from +x towards +y. */
  readonly from: number;
  /** Angle of each. */
  readonly spacing: number;
  readonly count: number;
  /** How far inside and outside the assumed edge they reach, px. */
  readonly insidePx: number;
  readonly outsidePx: number;
}

/** The light in one sector along the radius. */
export interface Sector {
  readonly profile: RadialProfile;
  /** Share of the inner pixels that lie at the clipping point. */
  readonly clipped: number;
  /** Share of the pixels inside and outside the assumed edge that are data, the smaller of both; roughly. */
  readonly complete: number;
}

/**
 * Sorts the pixels near the edge of a disc by sector and by their true distance from it, each once, without resampling
 * the picture. Pixels that are no data are left out.
 */
export function gatherSectors(light: Plane, coverage: Plane | undefined, disc: Disc, grid: SectorGrid): Sector[] {
  const { width, height } = light;
  const { from, spacing, count, insidePx, outsidePx } = grid;
  const bins = Math.round((insidePx + outsidePx) * BINS_PER_PX);
  const sums: Sums = {
    distance: new Float64Array(count * bins),
    value: new Float64Array(count * bins),
    pixels: new Float64Array(count * bins),
  };
  const clipped = new Float64Array(count);
  const inner = disc.radiusPx - insidePx;
  const outer = disc.radiusPx + outsidePx;
  const first = Math.max(0, Math.ceil(disc.centreY - outer * disc.stretch));
  const last = Math.min(height - 1, Math.floor(disc.centreY + outer * disc.stretch));
  const run = (y: number, start: number, end: number): void => {
    const dy = (y - disc.centreY) / disc.stretch;
    for (let x = Math.max(0, start); x <= Math.min(width - 1, end); x++) {
      const off = outside(disc, x, y);
      const bin = Math.floor((off + insidePx) * BINS_PER_PX);
      if (bin < 0 || bin >= bins) continue;
      const turn = (Math.atan2(dy, x - disc.centreX) - from) / (2 * Math.PI);
      const sector = Math.floor(((turn - Math.floor(turn)) * 2 * Math.PI) / spacing);
      const i = y * width + x;
      if (sector >= count || !isKnown(light, coverage, i)) continue;
      const at = sector * bins + bin;
      sums.distance[at]! += off;
      sums.value[at]! += light.data[i]!;
      sums.pixels[at]!++;
      if (off < -2 && light.data[i]! >= CLIPPED) clipped[sector]!++;
    }
  };
  for (let y = first; y <= last; y++) {
    const dy = (y - disc.centreY) / disc.stretch;
    const reach = Math.sqrt(Math.max(0, outer * outer - dy * dy));
    const hole = Math.sqrt(Math.max(0, inner * inner - dy * dy));
    run(y, Math.floor(disc.centreX - reach), Math.floor(disc.centreX - hole));
    run(
      y,
      Math.max(Math.floor(disc.centreX - hole) + 1, Math.ceil(disc.centreX + hole)),
      Math.ceil(disc.centreX + reach),
    );
  }
  return Array.from({ length: count }, (_, k) => describe(sums, k * bins, bins, clipped[k]!, disc, grid));
}

const BINS_PER_PX = 4;
/** Light from which on a pixel counts as clipped. */
const CLIPPED = 0.985;

interface Sums {
  readonly distance: Float64Array;
  readonly value: Float64Array;
  readonly pixels: Float64Array;
}

function describe(sums: Sums, at: number, bins: number, clipped: number, disc: Disc, grid: SectorGrid): Sector {
  const filled: number[] = [];
  let [inside, deep, outsideCount] = [0, 0, 0];
  for (let k = at; k < at + bins; k++) {
    const n = sums.pixels[k]!;
    if (n === 0) continue;
    filled.push(k);
    const distance = sums.distance[k]! / n;
    if (distance < 0) inside += n;
    else outsideCount += n;
    if (distance < -2) deep += n;
  }
  const length = grid.spacing * disc.radiusPx * disc.stretch;
  return {
    profile: {
      distance: Float64Array.from(filled, (k) => sums.distance[k]! / sums.pixels[k]!),
      value: Float64Array.from(filled, (k) => sums.value[k]! / sums.pixels[k]!),
      count: Float64Array.from(filled, (k) => sums.pixels[k]!),
    },
    clipped: deep === 0 ? 0 : clipped / deep,
    complete: Math.min(
      inside / (length * grid.insidePx * (1 - grid.insidePx / (2 * disc.radiusPx))),
      outsideCount / (length * grid.outsidePx * (1 + grid.outsidePx / (2 * disc.radiusPx))),
    ),
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
