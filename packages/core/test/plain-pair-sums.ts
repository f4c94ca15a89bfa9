// What the kernel of pair sums stands for, in plain double precision: the yardstick of its tests.
import type { Affine } from '../src/compute/affine.js';
import { PAIR_SUMS, type PairBlocks, type PairLevel, shiftedRow } from '../src/registration/pair-normal.js';
import { tapsAt } from '../src/registration/pair-taps.js';

/**
 * What one step of Gauss–Newton needs, read in one pass over the overlap. `inverse` maps fixed px -> moving px. The
 * moving picture is interpolated by the six taps each way of `tapsAt`, derivatives are five-point differences. Both
 * pictures take the same part: the noise of the gradients then falls out of the right-hand side, and their products
 * Σ∇a∇b, unlike the energy of either, are free of it.
 */
export function pairBlocks(
  fixed: PairLevel,
  moving: PairLevel,
  inverse: Affine,
  gain: number,
  offset: number,
  sidePx: number,
): PairBlocks {
  const { width, height } = fixed;
  const columns = Math.ceil(width / sidePx);
  const rows = Math.ceil(height / sidePx);
  const sums = new Float64Array(columns * rows * PAIR_SUMS);
  const ring = Array.from({ length: 5 }, () => new Float32Array(width));
  const from = new Int32Array(height);
  const to = new Int32Array(height);
  const weights = fixed.variance || moving.variance ? new Float32Array(width) : undefined;
  const range = { from: 0, to: 0 };
  const shiftOnly = inverse.xx === 1 && inverse.yy === 1 && inverse.xy === 0 && inverse.yx === 0;
  const warp = shiftOnly ? shiftedRow : warpedRow;
  for (let y = 0; y < height; y++) {
    rowRange(moving, width, inverse, y, range);
    from[y] = range.from;
    to[y] = range.to;
    if (range.to > range.from) warp(moving, inverse, y, gain, offset, range.from, range.to, ring[y % 5]!);
    const row = y - 2;
    if (row < 2) continue;
    const x0 = Math.max(from[y - 4]!, from[y - 3]!, from[y - 2]!, from[y - 1]!, from[y]!, 0) + 2;
    const x1 = Math.min(to[y - 4]!, to[y - 3]!, to[y - 2]!, to[y - 1]!, to[y]!, width) - 2;
    if (x1 <= x0) continue;
    if (weights) rowWeights(fixed, moving, inverse, row, gain, x0, x1, weights);
    const base = Math.floor(row / sidePx) * columns;
    for (let x = x0; x < x1; ) {
      const column = Math.floor(x / sidePx);
      const end = Math.min(x1, (column + 1) * sidePx);
      addSegment(fixed, ring, row, x, end, weights, sums, (base + column) * PAIR_SUMS);
      x = end;
    }
  }
  return { columns, rows, sidePx, sums };
}

/** The pixels of fixed row y whose six taps each way lie in the moving picture. */
function rowRange(
  moving: PairLevel,
  width: number,
  inverse: Affine,
  y: number,
  range: { from: number; to: number },
): void {
  const sx = inverse.xy * y + inverse.tx;
  const sy = inverse.yy * y + inverse.ty;
  let from = 0;
  let to = width;
  const limit = (slope: number, start: number, low: number, high: number): void => {
    if (slope === 0) {
      if (!(start >= low && start < high)) to = 0;
      return;
    }
    const p = (low - start) / slope;
    const q = (high - start) / slope;
    from = Math.max(from, Math.ceil(Math.min(p, q) + EDGE));
    to = Math.min(to, Math.floor(Math.max(p, q) - EDGE) + 1);
  };
  limit(inverse.xx, sx, 2, moving.width - 3);
  limit(inverse.yx, sy, 2, moving.height - 3);
  range.from = from;
  range.to = Math.max(from, to);
}

/** Keeps rounding from reaching past the picture. */
const EDGE = 1e-6;

/** The moving picture brought onto a row of the fixed one by any affine map. */
function warpedRow(
  moving: PairLevel,
  inverse: Affine,
  y: number,
  gain: number,
  offset: number,
  from: number,
  to: number,
  out: Float32Array,
): void {
  const { width, data } = moving;
  const sx = inverse.xy * y + inverse.tx;
  const sy = inverse.yy * y + inverse.ty;
  const tx = TAPS_X;
  const ty = TAPS_Y;
  for (let x = from; x < to; x++) {
    const mx = inverse.xx * x + sx;
    const my = inverse.yx * x + sy;
    const ix = Math.floor(mx);
    const iy = Math.floor(my);
    tapsAt(mx - ix, tx);
    tapsAt(my - iy, ty);
    const a = tx[0]!;
    const b = tx[1]!;
    const c = tx[2]!;
    const d = tx[3]!;
    const e = tx[4]!;
    const f = tx[5]!;
    let k = (iy - 2) * width + ix - 2;
    let sum = 0;
    for (let j = 0; j < 6; j++) {
      sum +=
        ty[j]! *
        (a * data[k]! + b * data[k + 1]! + c * data[k + 2]! + d * data[k + 3]! + e * data[k + 4]! + f * data[k + 5]!);
      k += width;
    }
    out[x] = gain * sum + offset;
  }
}

const TAPS_X = new Float64Array(6);
const TAPS_Y = new Float64Array(6);

/** Weight of each pixel of a row: one over the variance of a − b. */
function rowWeights(
  fixed: PairLevel,
  moving: PairLevel,
  inverse: Affine,
  y: number,
  gain: number,
  from: number,
  to: number,
  out: Float32Array,
): void {
  const g2 = gain * gain;
  for (let x = from; x < to; x++) {
    let variance = fixed.variance ? fixed.variance[y * fixed.width + x]! : 1;
    if (moving.variance) {
      const ix = Math.round(inverse.xx * x + inverse.xy * y + inverse.tx);
      const iy = Math.round(inverse.yx * x + inverse.yy * y + inverse.ty);
      variance += g2 * moving.variance[iy * moving.width + ix]!;
    } else variance += g2;
    out[x] = 2 / variance;
  }
}

function addSegment(
  fixed: PairLevel,
  ring: readonly Float32Array[],
  y: number,
  from: number,
  to: number,
  weights: Float32Array | undefined,
  sums: Float64Array,
  at: number,
): void {
  const { width, data } = fixed;
  const b0 = ring[(y - 2) % 5]!;
  const b1 = ring[(y - 1) % 5]!;
  const b2 = ring[y % 5]!;
  const b3 = ring[(y + 1) % 5]!;
  const b4 = ring[(y + 2) % 5]!;
  let sw = 0;
  let hxx = 0;
  let hxy = 0;
  let hyy = 0;
  let rgx = 0;
  let rgy = 0;
  let mgx = 0;
  let mgy = 0;
  let sgx = 0;
  let sgy = 0;
  let smm = 0;
  let sm = 0;
  let srm = 0;
  let sr = 0;
  let srr = 0;
  for (let x = from; x < to; x++) {
    const w = weights ? weights[x]! : 1;
    const i = y * width + x;
    const a = data[i]!;
    const b = b2[x]!;
    const ax = C1 * (data[i + 1]! - data[i - 1]!) - C2 * (data[i + 2]! - data[i - 2]!);
    const ay = C1 * (data[i + width]! - data[i - width]!) - C2 * (data[i + 2 * width]! - data[i - 2 * width]!);
    const bx = C1 * (b2[x + 1]! - b2[x - 1]!) - C2 * (b2[x + 2]! - b2[x - 2]!);
    const by = C1 * (b3[x]! - b1[x]!) - C2 * (b4[x]! - b0[x]!);
    const r = w * (a - b);
    const m = (a + b) / 2;
    const gx = (ax + bx) / 2;
    const gy = (ay + by) / 2;
    sw += w;
    hxx += w * ax * bx;
    hxy += w * (ax * by + ay * bx);
    hyy += w * ay * by;
    rgx += r * gx;
    rgy += r * gy;
    mgx += w * m * gx;
    mgy += w * m * gy;
    sgx += w * gx;
    sgy += w * gy;
    smm += w * m * m;
    sm += w * m;
    srm += r * m;
    sr += r;
    srr += r * (a - b);
  }
  sums[at]! += sw;
  sums[at + 1]! += hxx;
  sums[at + 2]! += hxy / 2;
  sums[at + 3]! += hyy;
  sums[at + 4]! += rgx;
  sums[at + 5]! += rgy;
  sums[at + 6]! += mgx;
  sums[at + 7]! += mgy;
  sums[at + 8]! += sgx;
  sums[at + 9]! += sgy;
  sums[at + 10]! += smm;
  sums[at + 11]! += sm;
  sums[at + 12]! += srm;
  sums[at + 13]! += sr;
  sums[at + 14]! += srr;
}

/** Five-point first derivative: exact for polynomials of degree four. */
const C1 = 8 / 12;
const C2 = 1 / 12;
