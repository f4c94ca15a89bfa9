import type { Plane } from './image.js';
import { type HeldFloats, type KernelScope, withKernels } from './kernels.js';
import type { KernelPlane } from './kernels-fft.js';

/** A plane in the memory of the kernels. */
export interface HeldPlane {
  readonly width: number;
  readonly height: number;
  readonly data: HeldFloats;
}

/**
 * What `gaussianBlur` of gaussian.ts gives, in single precision: cut off at 4 sigma, normalised, borders mirrored about
 * the edge pixels. Each value is its centre plus weighted differences from it, so that a constant stays what it is to
 * the bit; errors stay below 2e-7 of the largest value near by. A sigma of 0 gives a copy. Throws RangeError for a sigma
 * that is negative or not finite.
 */
export function blurWithKernels(plane: Plane, sigmaPx: number): Plane {
  const { width, height } = plane;
  return withKernels((scope) => ({ width, height, data: scope.get(holdBlurred(scope, plane, sigmaPx).data) }));
}

/** {@link blurWithKernels} of a plane that may be held; the result stays held. */
export function holdBlurred(scope: KernelScope, plane: KernelPlane, sigmaPx: number): HeldPlane {
  if (!(sigmaPx >= 0 && sigmaPx < Infinity)) throw new RangeError(`sigmaPx must be finite and >= 0, got ${sigmaPx}`);
  const { width, height } = plane;
  const out = scope.hold(width * height);
  withKernels(() => {
    const source = scope.put(plane.data);
    const half = scope.put(halfKernel(sigmaPx));
    const radius = half.length - 1;
    const scratch = scope.reserve(4 * (Math.max(width, 16 * height) + 32 * radius + 16));
    scope.exports.convolve(source.address, width, height, half.address, radius, out.address, scratch);
  });
  return { width, height, data: out };
}

/**
 * Blurs keep about this σ at least on the coarser grid that they run on, px of it: at 4 px the knots of the straight lines
 * show in what is measured, poses get worse by some hundredths of their error.
 */
const LEAST_COARSE_SIGMA_PX = 6;

/**
 * {@link holdBlurred}, many times as fast for a wide blur: on a grid that is coarser by a power of two, brought back along
 * straight lines, so that what is finer than that grid counts as if it lay in the middle of a block. Good to some hundredths
 * for a map of energy. A constant stays what it is to the bit.
 */
export function holdWideBlurred(scope: KernelScope, plane: KernelPlane, sigmaPx: number): HeldPlane {
  const { width, height } = plane;
  const small = Math.min(width, height) < 4;
  // Halving and doubling blur by one px² together.
  const coarse = Math.sqrt(Math.max(0, sigmaPx ** 2 - 1)) / 2;
  if (small || coarse < LEAST_COARSE_SIGMA_PX * 0.95) return holdBlurred(scope, plane, sigmaPx);
  const out = scope.hold(width * height);
  withKernels(() => {
    const source = scope.put(plane.data);
    const [w, h] = [width >> 1, height >> 1];
    const half = scope.hold(w * h);
    scope.exports.halve(source.address, width, height, half.address);
    const blurred = holdWideBlurred(scope, { width: w, height: h, data: half }, coarse);
    scope.exports.double(blurred.data.address, width, height, out.address, scope.reserve(4 * (w + 8)));
  });
  return { width, height, data: out };
}

/** Weights at offsets 0, 1, … of the normalised kernel. */
function halfKernel(sigmaPx: number): Float32Array {
  if (sigmaPx === 0) return Float32Array.of(1);
  const radius = Math.max(1, Math.round(4 * sigmaPx));
  const half = Float64Array.from({ length: radius + 1 }, (_, i) => Math.exp((-i * i) / (2 * sigmaPx * sigmaPx)));
  let sum = half[0]!;
  for (let i = 1; i <= radius; i++) sum += 2 * half[i]!;
  return Float32Array.from(half, (weight) => weight / sum);
}

/**
 * Means of factor × factor blocks, the factor a power of two; an incomplete last row or column of blocks is dropped.
 * Agrees with `binPlane` of downsample.ts to rounding. Throws RangeError for other factors.
 */
export function binWithKernels(plane: Plane, factor: number): Plane {
  if (!(Number.isInteger(factor) && factor >= 1 && (factor & (factor - 1)) === 0))
    throw new RangeError(`the kernels bin by powers of two, got ${factor}`);
  return withKernels((scope) => {
    const { address } = scope.put(plane.data);
    let { width, height } = plane;
    for (let f = factor; f > 1; f /= 2) {
      scope.exports.halve(address, width, height, address);
      width >>= 1;
      height >>= 1;
    }
    return { width, height, data: scope.get({ address, length: width * height }) };
  });
}

/** Central differences per pixel along x and y, on the same grid; halves of one-sided ones at the borders. */
export function gradientWithKernels(plane: KernelPlane): { readonly x: Float32Array; readonly y: Float32Array } {
  return withKernels((scope) => {
    const { x, y } = holdGradient(scope, plane);
    return { x: scope.get(x), y: scope.get(y) };
  });
}

/** {@link gradientWithKernels} of a plane that may be held; the results stay held. */
export function holdGradient(
  scope: KernelScope,
  { width, height, data }: KernelPlane,
): { readonly x: HeldFloats; readonly y: HeldFloats } {
  const x = scope.hold(width * height);
  const y = scope.hold(width * height);
  withKernels(() => {
    const source = scope.put(data);
    if (width > 0) scope.exports.gradient(source.address, width, height, x.address, y.address);
  });
  return { x, y };
}
