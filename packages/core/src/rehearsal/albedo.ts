import type { Random } from '../compute/random.js';
import type { Crater } from './craters.js';
import { createNoise, fractal, type Noise3, smoothstep } from './noise.js';
import { MOON_RADIUS_KM, tangents, visitCap, visitDisc } from './sphere.js';
import type { Terrain } from './terrain.js';

/** How bright and what colour the ground is. */
export interface Albedo {
  /** Relative normal reflectance: about 1 on highlands, 0.5 on maria. */
  readonly reflectance: Float32Array;
  /** Colour index of the ground: positive is redder. Red is scaled by 1 + w, blue by 1 - w. */
  readonly warmth: Float32Array;
}

/** Share by which the whole body is redder than grey, in linear light. */
const BODY_WARMTH = 0.055;

/** Reflectance and colour from what the ground is made of, with ray systems of the youngest craters. */
export function paintAlbedo(terrain: Terrain, random: Random): Albedo {
  const { grid, mare, fresh } = terrain;
  const size = grid.width * grid.height;
  const reflectance = new Float32Array(size);
  const warmth = new Float32Array(size);
  const rays = castRays(terrain, random.fork('rays'));
  const broad = fractal(createNoise(random.fork('broad')), { frequency: 3.4, octaves: 5, gain: 0.6 });
  const mottle = fractal(createNoise(random.fork('mottle')), { frequency: 24, octaves: 5, gain: 0.72 });
  const flows = fractal(createNoise(random.fork('flows')), { frequency: 4.2, octaves: 4, gain: 0.55 });
  visitDisc(grid, (i, x, y, z) => {
    const dark = mare[i]!;
    const b = broad(x, y, z);
    const m = mottle(x, y, z);
    const flow = dark > 0 ? smoothstep(-0.35, 0.35, flows(x, y, z)) : 0;
    const highland = 0.9 + 0.13 * b + 0.13 * m;
    const lava = 0.46 + 0.13 * flow + 0.07 * b + 0.03 * m;
    const ground = highland + (lava - highland) * dark * (0.9 + 0.1 * smoothstep(-0.5, 0.1, m));
    const bright = rays[i]! + 0.42 * fresh[i]!;
    reflectance[i] = ground + (1.5 - ground) * Math.min(0.85, bright);
    warmth[i] = BODY_WARMTH + dark * (0.028 * (flow - 0.5)) - 0.008 * (1 - dark) * b - 0.012 * bright;
  });
  return { reflectance, warmth };
}

/** Brightness of rays, 0 to about 0.8, from a few of the young craters. */
function castRays(terrain: Terrain, random: Random): Float32Array {
  const rays = new Float32Array(terrain.heightKm.length);
  const patches = fractal(createNoise(random.fork('patches')), { frequency: 11, octaves: 4, gain: 0.65 });
  chooseSources(terrain.young).forEach((crater, rank) => {
    drawSystem(terrain, rays, crater, rank, patches, random.fork(`system-${rank}`));
  });
  return rays;
}

/** The crispest young craters within sight, the large ones first. */
function chooseSources(young: readonly Crater[]): Crater[] {
  const seen = young.filter((c) => c.centre[2] > 0.3 && c.diameterKm > 9);
  const score = (c: Crater): number => 1.3 * Math.log(c.diameterKm) - 6 * c.wear;
  return seen.sort((a, b) => score(b) - score(a)).slice(0, 11);
}

function drawSystem(
  terrain: Terrain,
  rays: Float32Array,
  crater: Crater,
  rank: number,
  patches: Noise3,
  random: Random,
): void {
  const angle = crater.diameterKm / 2 / MOON_RADIUS_KM;
  const great = rank === 0;
  const strength = great ? 0.6 : 0.5 / (1 + 0.12 * rank);
  const length = angle * (great ? 34 : 10 + 9 * random.uniform());
  const [e1, e2] = tangents(crater.centre);
  const comb = createNoise(random.fork('comb'));
  const spokes = Array.from({ length: 9 + Math.floor(random.uniform() * 9) }, () => ({
    turn: 2 * Math.PI * random.uniform(),
    width: 0.02 + 0.075 * random.uniform() ** 2,
    reach: 0.25 + 0.75 * random.uniform(),
    weight: 0.35 + 0.65 * random.uniform(),
    bend: 0.12 * random.normal(),
  }));
  visitCap(terrain.grid, crater.centre, Math.min(1.5, length), (i, x, y, z, chordSquared) => {
    const along = Math.sqrt(chordSquared);
    const radii = along / angle;
    const turn = Math.atan2(x * e2[0] + y * e2[1] + z * e2[2], x * e1[0] + y * e1[1] + z * e1[2]);
    const patch = patches(x, y, z);
    let sum = 0;
    const ragged = 0.035 * patch + 0.012 * comb(x * 90, y * 90, z * 90);
    for (const spoke of spokes) {
      let off = turn - spoke.turn - spoke.bend * (along / length) + ragged;
      off -= 2 * Math.PI * Math.round(off / (2 * Math.PI));
      // Rays keep their width on the ground rather than their angle.
      const width = spoke.width * (0.35 + 2.2 / Math.max(1.5, radii));
      const q = off / width;
      if (q * q > 9) continue;
      const fade = smoothstep(spoke.reach, 0.3 * spoke.reach, along / length);
      sum += spoke.weight * fade * Math.exp(-q * q);
    }
    // Between the great rays a fan of fine ones, drawn out along the way from the crater.
    const hair =
      comb(Math.cos(turn) * 7 + 0.4 * patch, Math.sin(turn) * 7, 9 * along) +
      0.5 * comb(Math.cos(turn) * 19, Math.sin(turn) * 19, 14 * along);
    const fan = smoothstep(0.05, 0.75, hair) * smoothstep(0.85, 0.05, along / length);
    const outside = smoothstep(0.8, 1.5, radii);
    // Clumps of secondary craters, strung along the ray, break it up.
    const clumps = comb(Math.cos(turn) * 33 + 50, Math.sin(turn) * 33, 45 * along) + 0.5 * patch;
    const streaks =
      Math.min(1, sum + 0.6 * fan) * smoothstep(-0.75, 0.4, patch) * (0.35 + 0.75 * smoothstep(-0.4, 0.5, clumps));
    // The melt around the rim of the greatest is darker than what was thrown farther.
    const collar = great ? 1 - 0.5 * smoothstep(1, 1.15, radii) * smoothstep(2.5, 1.3, radii) : 1;
    const halo = Math.exp(-((radii / 2.6) ** 2)) * (0.75 + 0.3 * patch);
    rays[i] = Math.max(rays[i]!, strength * collar * Math.min(1, 0.85 * halo + 0.8 * streaks * outside));
  });
}
