import { type Affine, applyX, applyY, mappedBounds } from '../compute/affine.js';
import { binPlane } from '../compute/downsample.js';
import type { Plane } from '../compute/image.js';
import { type PlaneSource, wholePlane } from '../compute/plane-source.js';
import { quantile } from '../compute/quantile.js';
import { noiseSigma } from '../quality/noise.js';

/** A frame's light in coarse blocks, and how much stands out of it. */
export interface CoarseLight {
  readonly light: Plane;
  /** Block side, px. */
  readonly side: number;
  /** Range of the blocks' light (2 % to 99 %). */
  readonly range: number;
  /** What noise alone would make of that range, roughly. */
  readonly chance: number;
}

/** Reduces a frame's light to about 40 blocks across. */
export function coarseLight(light: Plane): CoarseLight {
  const side = Math.max(1, Math.floor(light.width / 40));
  const blocks = binPlane(light, side);
  const within: number[] = [];
  for (let y = 0; y < blocks.height; y++) {
    for (let x = 0; x < blocks.width; x++) {
      const mean = blocks.data[y * blocks.width + x]!;
      let sum = 0;
      let count = 0;
      for (let j = 0; j < side; j += 2) {
        for (let i = 0; i < side; i += 2) {
          sum += (light.data[(y * side + j) * light.width + x * side + i]! - mean) ** 2;
          count++;
        }
      }
      within.push(sum / count);
    }
  }
  const chance = (NORMAL_RANGE * Math.sqrt(quantile(within, 0.5))) / side;
  return { light: blocks, side, range: quantile(blocks.data, 0.99) - quantile(blocks.data, 0.02), chance };
}

/** 2 % to 99 % of a normal distribution, standard deviations, with half as much again for luck. */
const NORMAL_RANGE = 6.5;

/** Frames in which nothing stands out: less than chance, or than a thirtieth of what the pass's better frames show. */
export function findEmpty(lights: readonly CoarseLight[]): boolean[] {
  const usual = quantile(
    lights.map((l) => l.range),
    0.75,
  );
  return lights.map((l) => l.range <= Math.max(l.chance, LEAST_RANGE_SHARE * usual));
}

const LEAST_RANGE_SHARE = 0.03;

/** Frames that are the same picture as the one before, noise included. */
export function findDoubled(lights: readonly PlaneSource[]): boolean[] {
  let before: Plane | undefined;
  return lights.map((source) => {
    const light = wholePlane(source);
    const isSame = before !== undefined && samePicture(before, light);
    before = light;
    return isSame;
  });
}

function samePicture(a: Plane, b: Plane): boolean {
  let apart = 0;
  let across = 0;
  for (let i = 1; i < a.data.length; i += STRIDE) {
    apart += (a.data[i]! - b.data[i]!) ** 2;
    across += (b.data[i]! - b.data[i - 1]!) ** 2;
  }
  // Two pictures differ by √2 of their noise at least; neighbouring pixels of one differ by no less.
  if (apart > SAME_SHARE ** 2 * across) return false;
  const count = Math.ceil((a.data.length - 1) / STRIDE);
  return apart === 0 || Math.sqrt(apart / count) < SAME_SHARE * Math.SQRT2 * noiseSigma(b);
}

const STRIDE = 7;
/** A copy that was encoded anew may differ by this share of its noise. */
const SAME_SHARE = 0.5;

/**
 * Gain of each frame against the mean of all on the same ground, by least squares with an offset free, over blocks; NaN
 * where a frame shares no ground that varies.
 */
export function gainsOnGround(frames: readonly { readonly coarse: CoarseLight; readonly pose: Affine }[]): number[] {
  const side = frames[0]?.coarse.side ?? 1;
  const boxes = frames.map(({ coarse, pose }) =>
    mappedBounds(pose, coarse.light.width * side, coarse.light.height * side),
  );
  const x0 = Math.min(...boxes.map((b) => b.x0));
  const y0 = Math.min(...boxes.map((b) => b.y0));
  const columns = Math.floor((Math.max(...boxes.map((b) => b.x1)) - x0) / side) + 2;
  const rows = Math.floor((Math.max(...boxes.map((b) => b.y1)) - y0) / side) + 2;
  const cells = frames.map(({ coarse: { light }, pose }) => {
    const out = new Int32Array(light.data.length);
    for (let y = 0; y < light.height; y++) {
      for (let x = 0; x < light.width; x++) {
        const [p, q] = [(x + 0.5) * side - 0.5, (y + 0.5) * side - 0.5];
        const column = Math.floor((applyX(pose, p, q) - x0) / side);
        const row = Math.floor((applyY(pose, p, q) - y0) / side);
        out[y * light.width + x] =
          column >= 0 && row >= 0 && column < columns && row < rows ? row * columns + column : -1;
      }
    }
    return out;
  });
  let gains: number[] = frames.map(() => 1);
  for (let round = 0; round < 2; round++) {
    const usual = quantile(gains.filter(Number.isFinite), 0.75);
    const sum = new Float64Array(columns * rows);
    const count = new Uint16Array(columns * rows);
    frames.forEach(({ coarse: { light } }, k) => {
      if (!(gains[k]! > CLEAR_SHARE * usual)) return;
      cells[k]!.forEach((cell, i) => {
        if (cell < 0) return;
        sum[cell]! += light.data[i]!;
        count[cell]!++;
      });
    });
    gains = frames.map(({ coarse: { light } }, k) => slope(light, cells[k]!, sum, count));
  }
  return gains;
}

/** Frames through which less light came than this share of the pass's better ones are clouded. */
export const CLEAR_SHARE = 0.6;

function slope(light: Plane, cells: Int32Array, sum: Float64Array, count: Uint16Array): number {
  let n = 0;
  let sg = 0;
  let sl = 0;
  let sgg = 0;
  let sgl = 0;
  for (let i = 0; i < cells.length; i++) {
    const cell = cells[i]!;
    if (cell < 0 || count[cell]! < 2) continue;
    const ground = sum[cell]! / count[cell]!;
    n++;
    sg += ground;
    sl += light.data[i]!;
    sgg += ground * ground;
    sgl += ground * light.data[i]!;
  }
  const variance = sgg - (sg * sg) / Math.max(1, n);
  return n >= LEAST_BLOCKS && variance > 0 ? (sgl - (sg * sl) / n) / variance : Number.NaN;
}

const LEAST_BLOCKS = 40;
