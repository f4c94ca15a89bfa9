import type { Affine } from '../compute/affine.js';
import { tapsAt } from './pair-taps.js';

/** A picture at one level of the pyramid. */
export interface PairLevel {
  readonly width: number;
  readonly height: number;
  readonly data: Float32Array;
  /** Variance of the noise per pixel in any common unit, Infinity where the pixel must not count; 1 when left out. */
  readonly variance?: Float32Array;
}

/** Sums per block of side × side pixels of the fixed picture, {@link PAIR_SUMS} numbers each, row-major. */
export interface PairBlocks {
  readonly columns: number;
  readonly rows: number;
  readonly sidePx: number;
  readonly sums: Float64Array;
}

/**
 * Weighted sums over one block. With b the moving picture brought onto the fixed one a, times gain, plus offset;
 * r = a − b, m = (a + b)/2, G = ∇m: Σw, Σ∇a∇b (xx, xy made symmetric, yy), ΣrGx, ΣrGy, ΣmGx, ΣmGy, ΣGx, ΣGy, Σm², Σm,
 * Σrm, Σr, Σr².
 */
export const PAIR_SUMS = 15;

/**
 * The moving picture, times gain, plus offset, brought onto pixels from ≤ x < to of row y of the fixed one by a shift
 * (fixed px + (tx, ty) = moving px), whose taps are the same all along. All taps must lie in the moving picture.
 */
export function shiftedRow(
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
  const ix = Math.floor(inverse.tx);
  const iy = Math.floor(y + inverse.ty);
  tapsAt(inverse.tx - ix, TAPS_X);
  tapsAt(y + inverse.ty - iy, TAPS_Y);
  const [a, b, c, d, e, f] = TAPS_X as unknown as [number, number, number, number, number, number];
  const [p, q, r, s, t, u] = TAPS_Y as unknown as [number, number, number, number, number, number];
  const k0 = (iy - 2) * width + ix;
  const column = (k: number): number =>
    p * data[k]! +
    q * data[k + width]! +
    r * data[k + 2 * width]! +
    s * data[k + 3 * width]! +
    t * data[k + 4 * width]! +
    u * data[k + 5 * width]!;
  let v0 = column(k0 + from - 2);
  let v1 = column(k0 + from - 1);
  let v2 = column(k0 + from);
  let v3 = column(k0 + from + 1);
  let v4 = column(k0 + from + 2);
  for (let x = from; x < to; x++) {
    const v5 = column(k0 + x + 3);
    out[x] = gain * (a * v0 + b * v1 + c * v2 + d * v3 + e * v4 + f * v5) + offset;
    v0 = v1;
    v1 = v2;
    v2 = v3;
    v3 = v4;
    v4 = v5;
  }
}

const TAPS_X = new Float64Array(6);
const TAPS_Y = new Float64Array(6);
