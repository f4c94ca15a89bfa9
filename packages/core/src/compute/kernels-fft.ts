import type { Plane } from './image.js';
import { type HeldFloats, type KernelFloats, type KernelScope, withKernels } from './kernels.js';
import { fftPlan, fftTurns, isFftLength, SMALLEST_FFT } from './kernels-fft-plan.js';

/** A picture whose numbers may lie in the memory of the kernels. */
export interface KernelPlane {
  readonly width: number;
  readonly height: number;
  readonly data: KernelFloats;
}

/** Half of the spectrum of a real picture, row-major: columns 0 … width/2 of each row; the rest is its mirror image. */
export interface RealSpectrum {
  /** Size of the picture. */
  readonly width: number;
  readonly height: number;
  /** (width/2 + 1) × height. */
  readonly re: Float32Array;
  readonly im: Float32Array;
}

/** A spectrum in the memory of the kernels, in the layout of packages/core/kernels/fft-real.ts. */
export interface HeldSpectrum {
  readonly width: number;
  readonly height: number;
  readonly held: HeldFloats;
}

/**
 * Spectrum Σ f·exp(−2πi(kx/W + ly/H)) of a picture, padded with zeros below and to the right to width × height, which
 * are products of 2, 3 and 5 from 16 on, the width even. Float32 throughout: errors are about 2e-7 of the root of the
 * spectrum's mean square. Throws RangeError for other sizes.
 */
export function forwardSpectrum(
  picture: Plane,
  width: number = picture.width,
  height: number = picture.height,
): RealSpectrum {
  return withKernels((scope) => {
    const { held } = holdSpectrum(scope, picture, width, height);
    const columns = width / 2 + 1;
    const re = new Float32Array(columns * height);
    const im = new Float32Array(columns * height);
    const rowFloats = spectrumRowFloats(width);
    const packed = scope.floats(held.address, held.length);
    for (let y = 0; y < height; y++) {
      for (let x = 0; x < columns; x++) {
        const at = y * rowFloats + 8 * (x >> 2) + (x & 3);
        re[y * columns + x] = packed[at]!;
        im[y * columns + x] = packed[at + 4]!;
      }
    }
    return { width, height, re, im };
  });
}

/** The picture that has this spectrum: undoes {@link forwardSpectrum}. Throws RangeError like it. */
export function inverseSpectrum({ width, height, re, im }: RealSpectrum): Plane {
  requireSize(width, height);
  const columns = width / 2 + 1;
  return withKernels((scope) => {
    const rowFloats = spectrumRowFloats(width);
    const held = scope.hold(rowFloats * height);
    const packed = scope.floats(held.address, held.length).fill(0);
    for (let y = 0; y < height; y++) {
      for (let x = 0; x < columns; x++) {
        const at = y * rowFloats + 8 * (x >> 2) + (x & 3);
        packed[at] = re[y * columns + x]!;
        packed[at + 4] = im[y * columns + x]!;
      }
    }
    return { width, height, data: scope.get(releaseSpectrum(scope, { width, height, held })) };
  });
}

/** {@link forwardSpectrum} of a picture that may be held already; the result stays in the memory of the kernels. */
export function holdSpectrum(scope: KernelScope, picture: KernelPlane, width: number, height: number): HeldSpectrum {
  requireSize(width, height);
  if (picture.width > width || picture.height > height)
    throw new RangeError(
      `a picture of ${picture.width} x ${picture.height} does not fit a transform of ${width} x ${height}`,
    );
  const held = scope.hold(spectrumRowFloats(width) * height);
  withKernels(() => {
    const { address } = scope.put(picture.data);
    const { rows, columns, turns, scratch } = prepare(scope, width, height);
    const { width: w, height: h } = picture;
    scope.exports.fftForward(address, w, h, width, height, rows, columns, turns, held.address, scratch);
  });
  return { width, height, held };
}

/** The picture of a held spectrum, which is overwritten on the way. */
export function releaseSpectrum(scope: KernelScope, { width, height, held }: HeldSpectrum): HeldFloats {
  const out = scope.hold(width * height);
  withKernels(() => {
    const { rows, columns, turns, scratch } = prepare(scope, width, height);
    scope.exports.fftInverse(held.address, width, height, rows, columns, turns, out.address, scratch);
  });
  return out;
}

/** Numbers in a row of a held spectrum: groups of four columns, real parts, then imaginary parts. */
export function spectrumRowFloats(width: number): number {
  return 8 * Math.floor((width / 2 + 4) / 4);
}

function requireSize(width: number, height: number): void {
  if (isFftLength(width, true) && isFftLength(height, false)) return;
  throw new RangeError(
    `FFT sides must be products of 2, 3 and 5 from ${SMALLEST_FFT} on, the width even, got ${width} x ${height}`,
  );
}

/** Brings in what both directions need. */
function prepare(scope: KernelScope, width: number, height: number) {
  const place = (table: Uint8Array): number => {
    const address = scope.reserve(table.length);
    scope.bytes(address, table.length).set(table);
    return address;
  };
  return {
    rows: place(fftPlan(width / 2)),
    columns: place(fftPlan(height)),
    turns: scope.put(fftTurns(width)).address,
    scratch: scope.reserve(32 * Math.max(width + 16, 4 * height)),
  };
}
