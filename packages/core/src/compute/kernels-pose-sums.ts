import type { Affine } from './affine.js';
import { type KernelFloats, withKernels } from './kernels.js';

/** What {@link poseSums} adds up. */
export interface PoseSumsInput {
  /** The picture that is interpolated, with its derivatives per px on the same grid. Both sides from 4 px on. */
  readonly fixed: {
    readonly width: number;
    readonly height: number;
    readonly data: KernelFloats;
    readonly gradientX: KernelFloats;
    readonly gradientY: KernelFloats;
    /** Only where its linear interpolation is 0.99 or more. Default: everywhere. */
    readonly coverage?: KernelFloats;
  };
  /** The picture whose pixels take part. */
  readonly moving: {
    readonly width: number;
    readonly height: number;
    readonly data: KernelFloats;
    /** Only from 1/2 on. Default: everywhere. */
    readonly coverage?: KernelFloats;
    /** Weight of each pixel. Default: 1. */
    readonly weight?: KernelFloats;
  };
  /** Moving px -> fixed px. */
  readonly pose: Affine;
  /** Moving px: first column and row, and one past the last. Default: all. */
  readonly box?: { readonly x0: number; readonly y0: number; readonly x1: number; readonly y1: number };
  /** Every n-th column and row of the box takes part. Default 1. */
  readonly stridePx?: number;
  /** Weight that falls from 1 in the middle of the box to 0 at its ends as 1 − x² in each direction. Default false. */
  readonly isWindowed?: boolean;
  /** How many of shift x, shift y, turn, scale, vertical squeeze are free. */
  readonly parameters: 2 | 3 | 4 | 5;
  /** Fixed px about which turn, scale and squeeze go. */
  readonly centre: { readonly x: number; readonly y: number };
  /** Turn, scale and squeeze are in px at this distance from the centre. */
  readonly reachPx: number;
}

/** Sums of one step of Gauss–Newton. */
export interface PoseSums {
  /** Symmetric, (n + 2) × (n + 2): the n free parameters, gain, offset. */
  readonly normal: Float64Array;
  /** n + 2. The solution is the step of the parameters, the gain and the offset. */
  readonly right: Float64Array;
  /** Σ w·fixed². */
  readonly fixedSquares: number;
  /** Pixels that took part, and the sum of their weights. */
  readonly samples: number;
  readonly weight: number;
  /** Normalised correlation of both pictures at this pose, 0 when undefined. */
  readonly correlation: number;
}

/**
 * Normal equations of fixed(pose(x)) + ∇fixed·d = gain · moving(x) + offset (Lucas & Kanade 1981), d a small change of
 * the pose: fixed light by cubic convolution, derivatives linear. Light and terms run in single precision, positions in
 * double; sums agree with double precision to about 1e-6 of the sum of their terms' sizes. For many steps on the same
 * pictures hold them in a scope of {@link withKernels}.
 */
export function poseSums(input: PoseSumsInput): PoseSums {
  const { fixed, moving, pose, parameters, centre, reachPx, stridePx = 1, isWindowed = false } = input;
  const { x0, y0, x1, y1 } = input.box ?? { x0: 0, y0: 0, x1: moving.width, y1: moving.height };
  if (x0 < 0 || y0 < 0 || x1 > moving.width || y1 > moving.height || Math.min(fixed.width, fixed.height) < 4)
    throw new RangeError(`no sums over ${x0} … ${x1} x ${y0} … ${y1} of ${moving.width} x ${moving.height} px`);
  const lines = parameters + 3;
  const length = (lines * (lines + 1)) / 2;
  return withKernels((scope) => {
    const place = (floats: KernelFloats | undefined): number => (floats ? scope.put(floats).address : 0);
    const [data, gx, gy, covered] = [fixed.data, fixed.gradientX, fixed.gradientY, fixed.coverage].map(place);
    const [theirs, cover, weight] = [moving.data, moving.coverage, moving.weight].map(place);
    const windowX = place(isWindowed ? windowOf(x0, x1, stridePx) : undefined);
    const windowY = place(isWindowed ? windowOf(y0, y1, stridePx) : undefined);
    const sums = scope.reserve(8 * length);
    const scratch = scope.reserve(4 * 64 * (lines + 1));
    scope.doubles(sums, length).fill(0);
    const { xx, xy, yx, yy, tx, ty } = pose;
    const samples = scope.exports.poseSums(
      ...([data!, fixed.width, fixed.height, gx!, gy!, covered!] as const),
      ...([theirs!, moving.width, cover!, weight!, xx, xy, yx, yy, tx, ty] as const),
      ...([x0, y0, x1, y1, stridePx, windowX, windowY] as const),
      ...([parameters, centre.x, centre.y, reachPx, sums, scratch] as const),
    );
    return unpackSums(scope.doubles(sums, length), parameters + 2, samples);
  });
}

/** Weights that fall from 1 in the middle between two ends to 0 there as 1 − x², at every step-th place. */
export function windowOf(from: number, to: number, step: number): Float32Array {
  const half = (to - from) / 2;
  return Float32Array.from({ length: Math.ceil((to - from) / step) }, (_, k) => 1 - ((k * step - half) / half) ** 2);
}

/** Takes the lower triangle apart: n unknowns, then the fixed light. Fills `normal` and `right`. */
export function unpackSums(
  packed: Float64Array,
  n: number,
  samples: number,
  normal: Float64Array = new Float64Array(n * n),
  right: Float64Array = new Float64Array(n),
): PoseSums {
  let k = 0;
  for (let p = 0; p < n; p++) {
    for (let q = 0; q <= p; q++) {
      normal[p * n + q] = packed[k]!;
      normal[q * n + p] = packed[k++]!;
    }
  }
  for (let p = 0; p < n; p++) right[p] = -packed[k++]!;
  const fixedSquares = packed[k]!;
  const weight = normal[n * n - 1]!;
  const [sm, smm] = [normal[n * n - 2]!, normal[(n - 2) * n + n - 2]!];
  const [sfm, sf] = [right[n - 2]!, right[n - 1]!];
  const vf = fixedSquares - (sf * sf) / weight;
  const vm = smm - (sm * sm) / weight;
  const correlation = vf > 0 && vm > 0 ? (sfm - (sf * sm) / weight) / Math.sqrt(vf * vm) : 0;
  return { normal, right, fixedSquares, samples, weight, correlation };
}
