import { withKernels } from './kernels.js';
import { holdSpectrum, type KernelPlane, releaseSpectrum, spectrumRowFloats } from './kernels-fft.js';

/** Options of {@link phaseCorrelation}. */
export interface PhaseCorrelationOptions {
  /** Size of the transform: products of 2, 3 and 5 from 16 on, the width even. As large as both pictures together, shifts do not wrap. */
  readonly width: number;
  readonly height: number;
  /** σ of the Gaussian band, cycles per px, Infinity for all. Default 0.12. */
  readonly bandSigma?: number;
  /** What the cross spectrum is divided by: nothing, the root of its size, or its size. Default 'half'. */
  readonly whitening?: 'none' | 'half' | 'full';
  /** Added to that size, as a share of its mean, so that noise is not lifted without end. Default 0.02. */
  readonly floor?: number;
}

/** The options with their defaults. */
export const PHASE_CORRELATION_DEFAULTS: Required<Omit<PhaseCorrelationOptions, 'width' | 'height'>> = {
  bandSigma: 0.12,
  whitening: 'half',
  floor: 0.02,
};

/** A correlation surface: at (dx, dy), taken modulo its sides, how well the second picture shifted by that fits. */
export interface CorrelationSurface {
  readonly width: number;
  readonly height: number;
  readonly data: Float32Array;
  /**
   * W·H·Σ|A|²|B|² / (Σ|A|²·Σ|B|²), px²: the sum over all lags of the product of both autocorrelations, the area that
   * counts as one independent sample of the correlation (Bartlett 1946). At least 1.
   */
  readonly sampleAreaPx: number;
}

/**
 * Band-limited phase correlation (Kuglin & Hines 1975) of two pictures, each padded with zeros: the inverse transform
 * of A·conj(B), weighted by a Gaussian of the frequency and evened out. The peak lies at the shift that brings the
 * moving picture onto the fixed one. Single precision; a surface is good to about 1e-6 of its peak. Throws RangeError
 * for sizes that cannot be transformed or are smaller than a picture.
 */
export function phaseCorrelation(
  fixed: KernelPlane,
  moving: KernelPlane,
  options: PhaseCorrelationOptions,
): CorrelationSurface {
  const { width, height, bandSigma, whitening, floor } = { ...PHASE_CORRELATION_DEFAULTS, ...options };
  return withKernels((scope) => {
    const a = holdSpectrum(scope, fixed, width, height);
    const b = holdSpectrum(scope, moving, width, height);
    const rowFloats = spectrumRowFloats(width);
    const columns = width / 2 + 1;
    const across = scope.put(bandWeights(rowFloats / 2, columns, width, bandSigma));
    const down = scope.put(bandWeights(height, height, height, bandSigma));
    const mode = { none: 0, half: 1, full: 2 }[whitening];
    const sums = scope.reserve(24);
    scope.exports.crossPower(
      ...([a.held.address, b.held.address, 4 * rowFloats, columns, height] as const),
      ...([across.address, down.address, mode, floor, sums] as const),
    );
    const [pa, pb, pab] = [...scope.doubles(sums, 3)] as [number, number, number];
    const sampleAreaPx = pa > 0 && pb > 0 ? Math.max(1, (width * height * pab) / (pa * pb)) : 1;
    return { width, height, data: scope.get(releaseSpectrum(scope, a)), sampleAreaPx };
  });
}

/** The band's weight at the frequencies of the first `count` of `length` entries, 0 in the rest. */
function bandWeights(length: number, count: number, n: number, sigma: number): Float32Array {
  return Float32Array.from({ length }, (_, k) => {
    const frequency = Math.min(k, n - k) / n;
    return k < count ? Math.exp(-(frequency * frequency) / (2 * sigma * sigma)) : 0;
  });
}
