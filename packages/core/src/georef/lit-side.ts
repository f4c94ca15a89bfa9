import { DEG } from '../sky/angles.js';
import type { ViewDisc } from './posed-disc.js';
import type { RoundView } from './round-view.js';

/** Towards which side of the disc its light lies. */
export interface LitSide {
  /** Degrees clockwise from up. */
  readonly towardsDeg: number;
  /** Distance of the light's centre from the disc's, in radii: 0 when full. */
  readonly offRadii: number;
}

/** Centre of the light on a disc. Null where there is none, or where less than a quarter of the disc is covered. */
export function litSide({ light, coverage }: RoundView, { centreX, centreY, radiusPx }: ViewDisc): LitSide | null {
  let [sum, sx, sy, seen, all] = [0, 0, 0, 0, 0];
  const step = Math.max(1, Math.floor(radiusPx / 100));
  for (let dy = -radiusPx; dy <= radiusPx; dy += step) {
    for (let dx = -radiusPx; dx <= radiusPx; dx += step) {
      if (Math.hypot(dx, dy) > radiusPx) continue;
      all++;
      const [x, y] = [Math.round(centreX + dx), Math.round(centreY + dy)];
      if (x < 0 || y < 0 || x >= light.width || y >= light.height) continue;
      const at = y * light.width + x;
      if (coverage.data[at] === 0) continue;
      seen++;
      const value = Math.max(0, light.data[at]!);
      sum += value;
      sx += value * dx;
      sy += value * dy;
    }
  }
  if (!(sum > 0) || seen < all / 4) return null;
  const [x, y] = [sx / sum / radiusPx, sy / sum / radiusPx];
  return { towardsDeg: Math.atan2(x, -y) / DEG, offRadii: Math.hypot(x, y) };
}
