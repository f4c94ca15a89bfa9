import type { Random } from '../compute/random.js';
import { type Basin, drawBasins } from './basins.js';
import { type Crater, drawCraters, HIGHLAND_LAW, YOUNG_LAW } from './craters.js';
import { createNoise, fractal, smoothstep } from './noise.js';
import { type DiscGrid, MOON_RADIUS_KM, visitDisc } from './sphere.js';
import { stampCrater } from './stamp.js';

/** The ground of the scene on its grid. */
export interface Terrain {
  readonly grid: DiscGrid;
  /** Height over the mean sphere, km. */
  readonly heightKm: Float32Array;
  /** 0 = highland, 1 = mare. */
  readonly mare: Float32Array;
  /** Freshly dug, bright ground: 0 to about 1. */
  readonly fresh: Float32Array;
  /** What fell after the flooding, oldest first. */
  readonly young: readonly Crater[];
}

/** Craters smaller than this on the grid are not drawn one by one; the roughness of the ground stands for them. */
const SMALLEST_CRATER_PX = 2.2;

/** Builds the ground in the order in which it came about: crust and basins, old craters, lava, young craters. */
export function buildTerrain(grid: DiscGrid, random: Random): Terrain {
  const size = grid.width * grid.height;
  const heightKm = new Float32Array(size);
  const mare = new Float32Array(size);
  const fresh = new Float32Array(size);
  const kmPerPx = MOON_RADIUS_KM / grid.radiusPx;
  const minKm = Math.max(1.2, SMALLEST_CRATER_PX * kmPerPx);
  const basins = drawBasins(random.fork('basins'));
  const lavaKm = raiseCrust(grid, basins, heightKm, kmPerPx, random);
  const shape = { grid, heightKm, fresh, random: random.fork('rims') };
  const crustKm = heightKm.slice();
  for (const crater of drawCraters(random.fork('old'), { ...HIGHLAND_LAW, minKm })) stampCrater(shape, crater);
  drown(heightKm, crustKm, lavaKm);
  flood(grid, heightKm, mare, lavaKm, random.fork('lava'));
  for (let i = 0; i < size; i++) fresh[i]! *= 1 - mare[i]!;
  const young = drawCraters(random.fork('young'), { ...YOUNG_LAW, minKm });
  for (const crater of young) stampCrater(shape, crater);
  level(grid, heightKm);
  return { grid, heightKm, mare, fresh, young };
}

/** Nearest to the limb a pixel's share of the ground is no longer worked out: cosine of the slant. */
const STEEPEST = 0.05;

/** Takes the mean height of the ground off, each piece by its area: the sphere is the mean one. */
function level(grid: DiscGrid, heightKm: Float32Array): void {
  let [sum, area] = [0, 0];
  visitDisc(grid, (i, _x, _y, z) => {
    const share = 1 / Math.max(STEEPEST, z);
    sum += share * heightKm[i]!;
    area += share;
  });
  const meanKm = sum / Math.max(1, area);
  for (let i = 0; i < heightKm.length; i++) heightKm[i]! -= meanKm;
}

/** Fills `heightKm` with crust and basins; returns the level that lava reaches at every pixel. */
function raiseCrust(
  grid: DiscGrid,
  basins: readonly Basin[],
  heightKm: Float32Array,
  kmPerPx: number,
  random: Random,
): Float32Array {
  const crust = fractal(createNoise(random.fork('crust')), { frequency: 2.3, octaves: 5, gain: 0.55 });
  // Hummocks from 120 km down to the grid's own spacing.
  const octaves = Math.max(2, Math.min(8, Math.ceil(Math.log2(120 / (2.5 * kmPerPx)))));
  const hummocks = fractal(createNoise(random.fork('hummocks')), { frequency: 15, octaves, gain: 0.7 });
  const warp = fractal(createNoise(random.fork('warp')), { frequency: 3.2, octaves: 5, gain: 0.6 });
  const breaks = fractal(createNoise(random.fork('breaks')), { frequency: 3.5, octaves: 2, gain: 0.5 });
  const lavaKm = new Float32Array(heightKm.length).fill(-99);
  visitDisc(grid, (i, x, y, z) => {
    const bumps = hummocks(x, y, z);
    const bend = warp(x, y, z);
    let height = 0.85 * crust(x, y, z) + 0.54 * bumps;
    let lava = -99;
    let k = 0;
    for (const basin of basins) {
      k++;
      const [cx, cy, cz] = basin.centre;
      const chord = Math.sqrt(Math.max(0, 2 - 2 * (x * cx + y * cy + z * cz)));
      if (chord > basin.radius * 2.6) continue;
      const d = chord / basin.radius + (basin.rimKm > 0 ? 0.2 : 0.42) * bend;
      if (basin.flooded) lava = Math.max(lava, basin.levelKm - 9 * Math.max(0, d - 0.98));
      height -= basin.depthKm * smoothstep(1.06, 0.35, d);
      if (basin.rimKm > 0) {
        if (d > 1.9) continue;
        const present = smoothstep(-0.28, 0.35, breaks(x, y, z) * (k % 2 === 0 ? 1 : -1) + 0.15);
        const ridge = Math.exp(-(((d - 1.07) / (d < 1.07 ? 0.055 : 0.16)) ** 2));
        height += basin.rimKm * ridge * present * Math.max(0.1, 0.75 + 1.3 * bumps);
        height += 0.45 * basin.rimKm * Math.exp(-(((d - 0.62) / 0.05) ** 2)) * present * Math.max(0, bumps + 0.4);
      }
    }
    heightKm[i] = height;
    lavaKm[i] = lava;
  });
  return lavaKm;
}

/**
 * Where the crust lay deep below the lava, the impact that dug the basin had wiped out most older craters; where it rose above,
 * lava found no way: both change `heightKm` or `lavaKm` in place, so that seas have bays and islands, and no froth of ponds.
 */
function drown(heightKm: Float32Array, crustKm: Float32Array, lavaKm: Float32Array): void {
  for (let i = 0; i < heightKm.length; i++) {
    const level = lavaKm[i]!;
    if (level < -20) continue;
    const crust = crustKm[i]!;
    heightKm[i] = crust + (heightKm[i]! - crust) * (1 - 0.86 * smoothstep(-0.1, 0.7, level - crust));
    lavaKm[i] = level - 3.5 * Math.max(0, crust - level - 0.15);
  }
}

/** Fills everything below the lava's level, with gentle swells and wrinkle ridges. */
function flood(grid: DiscGrid, heightKm: Float32Array, mare: Float32Array, lavaKm: Float32Array, random: Random): void {
  const swell = fractal(createNoise(random.fork('swell')), { frequency: 9, octaves: 3, gain: 0.5 });
  const wrinkle = fractal(createNoise(random.fork('wrinkle')), { frequency: 5, octaves: 3, gain: 0.5 });
  const patch = fractal(createNoise(random.fork('patch')), { frequency: 6, octaves: 2, gain: 0.5 });
  const fine = fractal(createNoise(random.fork('fine')), { frequency: 45, octaves: 4, gain: 0.62 });
  visitDisc(grid, (i, x, y, z) => {
    const level = lavaKm[i]!;
    if (level < -20) return;
    const depth = level - heightKm[i]!;
    if (depth < -0.8) return;
    const grain = fine(x, y, z);
    mare[i] = smoothstep(-0.2, 0.26, depth + 0.26 * grain);
    if (depth <= -0.1) return;
    const ridge = Math.max(0, 1 - Math.abs(wrinkle(x, y, z)) / 0.045);
    const where = ridge > 0 ? smoothstep(-0.05, 0.35, patch(x, y, z)) : 0;
    const top = level + 0.07 * swell(x, y, z) + 0.012 * grain + 0.16 * where * ridge * ridge * (1 + grain);
    // Lava laps softly against the slopes that it meets.
    heightKm[i] = top + (heightKm[i]! - top) * smoothstep(0.1, -0.1, depth) + 0.02 * Math.max(-1, -depth);
  });
}
