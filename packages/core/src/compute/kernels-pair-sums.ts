import type { Affine } from './affine.js';
import { type KernelFloats, withKernels } from './kernels.js';
import { putTaps, type TapTable } from './kernels-taps.js';

/** One picture of a pair. */
export interface SumsPicture {
  readonly width: number;
  readonly height: number;
  readonly data: KernelFloats;
  /** Variance of the noise per pixel in any common unit, Infinity where the pixel must not count; 1 when left out. */
  readonly variance?: KernelFloats;
}

/** Sums per block of side × side pixels of the fixed picture, {@link SUMS_PER_BLOCK} numbers each, row-major. */
export interface BlockSums {
  readonly columns: number;
  readonly rows: number;
  readonly sidePx: number;
  readonly sums: Float64Array;
}

/** What the sums are is told in registration/pair-normal.ts. */
export const SUMS_PER_BLOCK = 15;

/**
 * The sums that one step of Gauss–Newton needs, as `pairBlocks` of packages/core/test/plain-pair-sums.ts takes them. `inverse` maps
 * fixed px -> moving px; pure shifts take a faster way. `taps` interpolate the moving picture. Light and taps run in single precision, positions in double, and
 * every row of a block is added up in single, then in double precision: with light of order 1 the sums agree to about
 * 1e-6 of the sum of their terms' sizes. Pixels of weight 0 may hold NaN; their neighbours within two pixels must not count.
 */
export function blockSums(
  fixed: SumsPicture,
  moving: SumsPicture,
  inverse: Affine,
  gain: number,
  offset: number,
  sidePx: number,
  taps: TapTable,
): BlockSums {
  const { width, height } = fixed;
  const columns = Math.ceil(width / sidePx);
  const rows = Math.ceil(height / sidePx);
  const length = columns * rows * SUMS_PER_BLOCK;
  return withKernels((scope) => {
    const place = (floats: KernelFloats | undefined): number => (floats ? scope.put(floats).address : 0);
    const [a, av, b, bv] = [fixed.data, fixed.variance, moving.data, moving.variance].map(place);
    const ranges = scope.reserve(8 * height);
    const sums = scope.reserve(8 * length);
    const scratch = scope.reserve(7 * 4 * (width + 32));
    scope.doubles(sums, length).fill(0);
    const limits = new Int32Array(scope.bytes(ranges, 8 * height).buffer, ranges, 2 * height);
    for (let y = 0; y < height; y++) setRange(limits, moving, width, inverse, y);
    const { xx, xy, yx, yy, tx, ty } = inverse;
    const table = putTaps(scope, taps);
    const { pairSums } = scope.exports;
    pairSums(
      ...([a!, width, height, av!, b!, moving.width, bv!] as const),
      ...([xx, xy, yx, yy, tx, ty, gain, offset] as const),
      ...([table, taps.steps, sidePx, columns, ranges, sums, scratch] as const),
    );
    return { columns, rows, sidePx, sums: scope.doubles(sums, length).slice() };
  });
}

/** Keeps rounding from reaching past the picture. */
const EDGE = 1e-6;

/** The pixels of fixed row y whose six taps each way lie in the moving picture: first, and one past the last. */
function setRange(limits: Int32Array, moving: SumsPicture, width: number, inverse: Affine, y: number): void {
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
  limits[2 * y] = from;
  limits[2 * y + 1] = Math.max(from, to);
}
