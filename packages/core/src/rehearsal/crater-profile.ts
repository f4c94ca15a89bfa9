import { smoothstep } from './noise.js';

/** Height over the ground before the impact, km, by distance from the centre in units of the rim's radius. */
export interface CraterProfile {
  /** Height at the distance; `turn` in [0, 1) is the direction, for what is not round. */
  heightKm(distance: number, turn: number): number;
  /** Share of the older relief that survives at the distance. */
  kept(distance: number): number;
  /** Where the ejecta end, in rim radii. */
  readonly reach: number;
}

/** Diameter at which bowls give way to flat floors and terraces, km. */
const COMPLEX_KM = 16;

/**
 * Cross section of a lunar crater: bowls below 16 km; flat floors, slumped terraces and central peaks above. Depth,
 * rim height and peak height of crisp ones after Pike 1977 (Impact and Explosion Cratering, p. 489): depth 0.196 D^1.01
 * or 1.044 D^0.301, rim 0.036 D^1.014 or 0.236 D^0.399 km. Wear lowers the rim, fills the floor and rounds both.
 */
export function craterProfile(diameterKm: number, wear: number, trait: number): CraterProfile {
  const simple = diameterKm < COMPLEX_KM;
  const freshDepth = simple ? 0.196 * diameterKm ** 1.01 : 1.044 * diameterKm ** 0.301;
  const freshRim = simple ? 0.036 * diameterKm ** 1.014 : 0.236 * diameterKm ** 0.399;
  const depth = freshDepth * (1 - 0.7 * wear);
  const rim = freshRim * (1 - 0.72 * wear);
  const floor = simple
    ? 0.12 + 0.5 * wear
    : Math.min(0.82, 0.42 + 0.12 * Math.log2(diameterKm / COMPLEX_KM) + 0.2 * wear);
  const below = depth - rim;
  const rounding = 0.05 + 0.16 * wear;
  const peak = peakHeight(diameterKm, depth) * (1 - wear) ** 1.5 * (trait < 0.75 ? 1 : 0.25);
  const terraces = simple ? 0 : (1 - wear) * smoothstep(COMPLEX_KM, 50, diameterKm);
  const steps = 2 + Math.floor(trait * 2.99);
  const reach = 1.35 + 1.15 * (1 - wear);
  const wall = (distance: number, turn: number): number => {
    const s = Math.min(1, Math.max(0, (distance - floor) / (1 - floor)));
    const slump =
      terraces * 0.085 * Math.sin(2 * Math.PI * (steps * s + 0.22 * Math.sin(2 * Math.PI * (3 * turn + trait))));
    const shape = simple ? s * (0.45 + 0.55 * s) : s ** (1.15 + 0.5 * (1 - wear));
    return shape + slump * 4 * s * (1 - s);
  };
  return {
    reach,
    heightKm(distance, turn) {
      if (distance >= reach) return 0;
      const outer = distance >= 1 ? rim * distance ** -3.2 * smoothstep(reach, 1.1, distance) : 0;
      if (distance >= 1 + rounding) return outer;
      const inner = distance < 1 ? -below + depth * wall(distance, turn) : rim;
      const edge = distance < 1 ? inner : outer;
      // A worn rim is rounded: near it the profile leans towards its mean over the rounding.
      const nearRim = 1 - Math.abs(distance - 1) / rounding;
      const lowered = nearRim > 0 ? edge - rim * 0.3 * nearRim * nearRim : edge;
      return peak > 0 && distance < 0.3 ? lowered + peak * peakShape(distance, turn, trait) : lowered;
    },
    kept(distance) {
      const inside = 0.06 + 0.5 * wear;
      return inside + (1 - inside) * smoothstep(0.85, 1.15 + 0.5 * (1 - wear), distance);
    },
  };
}

function peakHeight(diameterKm: number, depth: number): number {
  if (diameterKm < 24) return 0;
  return Math.min(0.0006 * diameterKm ** 1.97, 0.5 * depth) * smoothstep(24, 34, diameterKm);
}

function peakShape(distance: number, turn: number, trait: number): number {
  const lobes =
    1 + 0.45 * Math.sin(2 * Math.PI * (2 * turn + trait)) + 0.25 * Math.sin(2 * Math.PI * (5 * turn - 3 * trait));
  const r = distance / (0.11 * lobes);
  return Math.exp(-r * r);
}
