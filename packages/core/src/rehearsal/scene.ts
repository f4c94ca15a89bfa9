import type { Random } from '../compute/random.js';
import { paintAlbedo } from './albedo.js';
import { shade } from './shading.js';
import type { DiscGrid, Vector } from './sphere.js';
import { buildTerrain } from './terrain.js';

/** What the telescope looks at, in linear light on a grid of its own (truth px). */
export interface Scene {
  readonly width: number;
  readonly height: number;
  /** Mean of red, green and blue; 1 is the 99.7th percentile of the lit ground. */
  readonly light: Float32Array;
  /** Colour: red is `light * (1 + warmth)`, green `light`, blue `light * (1 - warmth)`. */
  readonly warmth: Float32Array;
  /** Circle of the smooth body, truth px. */
  readonly disc: { readonly centreX: number; readonly centreY: number; readonly radiusPx: number };
  /** Box of the lit ground, truth px, ends included. */
  readonly lit: { readonly left: number; readonly top: number; readonly right: number; readonly bottom: number };
  /** Direction of the Sun: x right, y down, z towards the observer. */
  readonly sun: Vector;
}

/** What {@link drawScene} needs to know. */
export interface SceneOptions {
  /** Diameter of the disc, truth px. */
  readonly diameterPx: number;
  /** Angle Sun-Moon-observer: 0 is full, 90 the quarter. */
  readonly phaseAngleDeg: number;
  /** Where the bright limb points: 0 to the right, 90 upwards. */
  readonly brightLimbDeg: number;
}

/** Ground brighter than this counts as lit. */
export const LIT_LEVEL = 0.03;

/** Dark border of the truth image around the lit ground, share of the disc's diameter. */
const BORDER = 0.035;

/** Draws a Moon that never was: seeded relief, maria, rays and light. */
export function drawScene(options: SceneOptions, random: Random): Scene {
  const phase = (options.phaseAngleDeg * Math.PI) / 180;
  const limb = (options.brightLimbDeg * Math.PI) / 180;
  const sun: Vector = [Math.sin(phase) * Math.cos(limb), -Math.sin(phase) * Math.sin(limb), Math.cos(phase)];
  const grid = litGrid(options.diameterPx, sun);
  const terrain = buildTerrain(grid, random.fork('terrain'));
  const { reflectance, warmth } = paintAlbedo(terrain, random.fork('albedo'));
  const light = soften(shade(terrain, reflectance, sun), grid.width, grid.height);
  const bright = percentileOfLit(light);
  for (let i = 0; i < light.length; i++) light[i]! /= bright;
  const lit = litBox(light, grid.width, grid.height);
  const { width, height, centreX, centreY, radiusPx } = grid;
  return { width, height, light, warmth, disc: { centreX, centreY, radiusPx }, lit, sun };
}

/** The smallest grid that holds what the Sun reaches, with a dark border. */
function litGrid(diameterPx: number, sun: Vector): DiscGrid {
  const radiusPx = diameterPx / 2;
  let left = 1;
  let right = -1;
  let top = 1;
  let bottom = -1;
  const rings = 180;
  for (let k = 0; k < rings; k++) {
    for (let m = 0; m <= 60; m++) {
      const angle = (2 * Math.PI * k) / rings;
      const x = (m / 60) * Math.cos(angle);
      const y = (m / 60) * Math.sin(angle);
      // Peaks beyond the terminator still catch light: down to about three degrees.
      if (x * sun[0] + y * sun[1] + Math.sqrt(Math.max(0, 1 - x * x - y * y)) * sun[2] < -0.05) continue;
      left = Math.min(left, x);
      right = Math.max(right, x);
      top = Math.min(top, y);
      bottom = Math.max(bottom, y);
    }
  }
  const border = Math.ceil(BORDER * diameterPx) + 6;
  return {
    width: Math.ceil((right - left) * radiusPx) + 2 * border,
    height: Math.ceil((bottom - top) * radiusPx) + 2 * border,
    centreX: border - left * radiusPx,
    centreY: border - top * radiusPx,
    radiusPx,
  };
}

/** A [1 4 1] / 6 filter along both axes: the light of a pixel's whole area rather than of its centre. */
function soften(data: Float32Array, width: number, height: number): Float32Array {
  const row = new Float32Array(width);
  for (let y = 0; y < height; y++) {
    const start = y * width;
    row.set(data.subarray(start, start + width));
    for (let x = 1; x < width - 1; x++) data[start + x] = (row[x - 1]! + 4 * row[x]! + row[x + 1]!) / 6;
  }
  const column = new Float32Array(height);
  for (let x = 0; x < width; x++) {
    for (let y = 0; y < height; y++) column[y] = data[y * width + x]!;
    for (let y = 1; y < height - 1; y++) data[y * width + x] = (column[y - 1]! + 4 * column[y]! + column[y + 1]!) / 6;
  }
  return data;
}

/** 99.7th percentile of the values above 3 % of the largest, to 1/4096 of the largest. */
function percentileOfLit(light: Float32Array): number {
  const largest = light.reduce((a, b) => Math.max(a, b), 0);
  const bins = new Float64Array(4096);
  let count = 0;
  for (const value of light) {
    if (value < LIT_LEVEL * largest) continue;
    bins[Math.min(4095, Math.floor((value / largest) * 4096))]!++;
    count++;
  }
  let above = 0;
  let bin = 4095;
  while (bin > 0 && above + bins[bin]! < 0.003 * count) above += bins[bin--]!;
  return ((bin + 1) / 4096) * largest;
}

function litBox(light: Float32Array, width: number, height: number): Scene['lit'] {
  let left = width;
  let right = 0;
  let top = height;
  let bottom = 0;
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      if (light[y * width + x]! < LIT_LEVEL) continue;
      left = Math.min(left, x);
      right = Math.max(right, x);
      top = Math.min(top, y);
      bottom = Math.max(bottom, y);
    }
  }
  return { left, top, right, bottom };
}
