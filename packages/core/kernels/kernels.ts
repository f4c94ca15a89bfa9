// What the module offers. Every address is in bytes; the caller lays out the memory (src/compute/kernels.ts).
export { accumulate } from './accumulate';
export { bandOf, contrastOf, double, evenOut, rootLight } from './band';
export { crossPower } from './cross-power';
export { fftForward, fftInverse } from './fft-real';
export { convolve, gradient, halve } from './filters';
export { pairSums } from './pair-sums';
export { patchSums } from './patch-sums';
export { poseSums } from './pose-sums';
export { footprint, padPlane } from './pad';
export { resampleCubic } from './resample-cubic';
export { resampleSix } from './resample-six';
export { binLight, blockRow, standOut } from './survey';
export { takeOut } from './take-out';

/** First byte that the caller may use. */
export function freeFrom(): usize {
  return (__heap_base + 63) & ~63;
}
