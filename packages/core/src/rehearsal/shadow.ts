import { MOON_RADIUS_KM, type Vector } from './sphere.js';
import type { Terrain } from './terrain.js';

/** Apparent radius of the Sun seen from the Moon, radians. */
const SUN_RADIUS = 0.00465;

/**
 * Share of the Sun's disc that a point of the ground sees over the relief towards it: 0 in shadow, 1 in the open. Marches
 * the ray through space, so that the sphere's own curve and the foreshortening towards the limb come out by themselves.
 */
export function castShadow(
  terrain: Terrain,
  x: number,
  y: number,
  z: number,
  heightKm: number,
  highestKm: number,
  sun: Vector,
): number {
  const { grid, heightKm: ground } = terrain;
  const { width, radiusPx, centreX, centreY } = grid;
  const lift = 1 + heightKm / MOON_RADIUS_KM;
  const ceiling = 1 + highestKm / MOON_RADIUS_KM;
  const px = x * lift;
  const py = y * lift;
  const pz = z * lift;
  const step = 1 / radiusPx;
  let lowest = 1;
  // Far from the point, where a step is a small angle, steps grow with the distance.
  for (let t = 1.2 * step; ; t += Math.max(step, 0.02 * t)) {
    const qx = px + sun[0] * t;
    const qy = py + sun[1] * t;
    const qz = pz + sun[2] * t;
    const r = Math.sqrt(qx * qx + qy * qy + qz * qz);
    if (r > ceiling || qz < 0) break;
    const u = (qx / r) * radiusPx + centreX;
    const v = (qy / r) * radiusPx + centreY;
    const column = Math.floor(u);
    const row = Math.floor(v);
    if (column < 0 || row < 0 || column >= width - 1 || row >= grid.height - 1) break;
    const i = row * width + column;
    const fx = u - column;
    const top = ground[i]! + (ground[i + 1]! - ground[i]!) * fx;
    const bottom = ground[i + width]! + (ground[i + width + 1]! - ground[i + width]!) * fx;
    const clearance = r - 1 - (top + (bottom - top) * (v - row)) / MOON_RADIUS_KM;
    const angle = clearance / t;
    if (angle < lowest) {
      lowest = angle;
      if (lowest < -SUN_RADIUS) return 0;
    }
  }
  return Math.min(1, 0.5 + 0.5 * (lowest / SUN_RADIUS));
}
