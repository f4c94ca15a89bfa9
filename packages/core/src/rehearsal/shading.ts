import { smoothstep } from './noise.js';
import { castShadow } from './shadow.js';
import { MOON_RADIUS_KM, type Vector, visitDisc } from './sphere.js';
import type { Terrain } from './terrain.js';

/** Share of Lommel-Seeliger in the reflection law; the rest is Lambert (McEwen 1991, doi 10.1016/0019-1035(91)90224-W). */
const LUNAR_SHARE = 0.72;

/** Sun higher than this sine over the smooth sphere: shadows are shorter than a pixel. */
const SHADOWLESS_SINE = 0.8;

/**
 * Light that reaches the observer from every pixel of the disc, over that of unit reflectance: reflection off the
 * relief, cast shadows, and the limb's partly covered pixels. Multiplies `reflectance` in place and returns it.
 */
export function shade(terrain: Terrain, reflectance: Float32Array, sun: Vector): Float32Array {
  const { grid, heightKm } = terrain;
  const { width, height, radiusPx } = grid;
  // Height per pixel to slope: heights in km, pixels as shares of the radius.
  const slopeScale = radiusPx / MOON_RADIUS_KM / 2;
  const highestKm = heightKm.reduce((a, b) => Math.max(a, b), -99);
  const [sx, sy, sz] = sun;
  visitDisc(grid, (i, x, y, z) => {
    const column = i % width;
    const row = (i - column) / width;
    const smooth = x * sx + y * sy + z * sz;
    if (column === 0 || row === 0 || column === width - 1 || row === height - 1 || smooth < -0.12) {
      reflectance[i] = 0;
      return;
    }
    // Towards the limb a pixel spans many kilometres, and near slopes hide far ones: what is seen evens out.
    const detail = smoothstep(0.01, 0.24, z);
    const hx = (heightKm[i + 1]! - heightKm[i - 1]!) * slopeScale * detail;
    const hy = (heightKm[i + width]! - heightKm[i - width]!) * slopeScale * detail;
    const radial = hx * x + hy * y;
    const nx = x - hx + x * radial;
    const ny = y - hy + y * radial;
    const nz = z + z * radial;
    const norm = 1 / Math.sqrt(nx * nx + ny * ny + nz * nz);
    const incidence = (nx * sx + ny * sy + nz * sz) * norm;
    let light = 0;
    if (incidence > 0) {
      const emission = Math.max(0.06, nz * norm, 0.4 * z);
      light = (2 * LUNAR_SHARE * incidence) / (incidence + emission) + (1 - LUNAR_SHARE) * incidence;
      if (smooth < SHADOWLESS_SINE) {
        const depth = Math.max(detail, smoothstep(0.35, 0.12, smooth));
        light *= 1 - depth * (1 - castShadow(terrain, x, y, z, heightKm[i]!, highestKm, sun));
      }
    }
    reflectance[i]! *= light * limbCoverage(terrain, column, row);
  });
  return reflectance;
}

/** Share of a pixel that lies within the limb, whose height is that of the ground on it in the pixel's direction. */
function limbCoverage(terrain: Terrain, column: number, row: number): number {
  const { width, height, centreX, centreY, radiusPx } = terrain.grid;
  const x = column - centreX;
  const y = row - centreY;
  const r = Math.sqrt(x * x + y * y);
  if (r < 0.985 * radiusPx - 4) return 1;
  // The rim of pixels just beyond the smooth sphere holds the ground on the limb itself.
  const onLimb = (radiusPx + 1.5) / r;
  const u = Math.min(width - 1, Math.max(0, Math.round(centreX + x * onLimb)));
  const v = Math.min(height - 1, Math.max(0, Math.round(centreY + y * onLimb)));
  const limb = radiusPx * (1 + terrain.heightKm[v * width + u]! / MOON_RADIUS_KM);
  return smoothstep(0.75, -0.75, r - limb);
}
