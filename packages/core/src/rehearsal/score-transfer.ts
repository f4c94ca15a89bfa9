import { createComplexField, fft2 } from '../compute/fft.js';
import type { Plane } from '../compute/image.js';
import { closeDisc, erodeSquare, type Mask } from '../compute/morphology.js';
import type { Photometry } from './score-photometry.js';

/** How much of the scene's detail the plate keeps. */
export interface TransferScore {
  /** Patches that were used; 0 goes with empty lists. */
  readonly sharpPatches: number;
  /** Share of the scene's contrast, per band of {@link TRANSFER_BANDS}: 1 as the scene, above 1 sharpened beyond it. */
  readonly transfer: readonly number[];
  /** Share of the plate's detail that is the scene's, 0 to 1, per band; the rest is noise, ringing or misplaced. */
  readonly coherence: readonly number[];
}

/** From and below, cycles per frame px. */
export const TRANSFER_BANDS: readonly (readonly [number, number])[] = [
  [0.02, 0.05],
  [0.05, 0.1],
  [0.1, 0.17],
  [0.17, 0.25],
];

const LARGE_PATCH_PX = 256;
/** Tried in turn, half overlapping, shadows included, where no large patch fits into the lit ground. */
const SMALL_PATCHES_PX = [128, 64];
const ENOUGH_PATCHES = 8;
const LEAST_FILLED = 0.999;
const CLOSING_RADIUS_PX = 20;
const SMALL_MARGIN_SQUARE_PX = 13;

/** Cross spectra of the plate and the scene in windowed patches, summed over bands. */
export function scoreTransfer(
  { fitted, lit, inner }: Photometry,
  coverage: Plane,
  scene: Plane,
  truthPxPerFramePx: number,
): TransferScore {
  const large = bandSums(fitted, scene, inner, LARGE_PATCH_PX, LARGE_PATCH_PX, truthPxPerFramePx);
  if (large.sharpPatches > 0) return large;
  const whole = closeDisc(lit, CLOSING_RADIUS_PX);
  const covered = { ...whole, data: whole.data.map((v, i) => (v && coverage.data[i]! > 0.99 ? 1 : 0)) };
  const mask = erodeSquare(covered, SMALL_MARGIN_SQUARE_PX);
  let score = large;
  for (const size of SMALL_PATCHES_PX) {
    score = bandSums(fitted, scene, mask, size, size / 2, truthPxPerFramePx);
    if (score.sharpPatches >= ENOUGH_PATCHES) break;
  }
  return score;
}

function bandSums(
  plate: Plane,
  scene: Plane,
  mask: Mask,
  size: number,
  step: number,
  truthPxPerFramePx: number,
): TransferScore {
  const bands = bandOfBins(size, truthPxPerFramePx);
  const shared = new Float64Array(TRANSFER_BANDS.length);
  const ofScene = new Float64Array(TRANSFER_BANDS.length);
  const ofPlate = new Float64Array(TRANSFER_BANDS.length);
  let patches = 0;
  for (let y = 0; y < scene.height - size; y += step) {
    for (let x = 0; x < scene.width - size; x += step) {
      if (filled(mask, x, y, size) < LEAST_FILLED) continue;
      patches++;
      const field = createComplexField(size, size);
      windowInto(field.re, plate, x, y, size);
      windowInto(field.im, scene, x, y, size);
      fft2(field, 'forward');
      addPatch(field.re, field.im, size, bands, shared, ofScene, ofPlate);
    }
  }
  if (patches === 0) return { sharpPatches: 0, transfer: [], coherence: [] };
  return {
    sharpPatches: patches,
    transfer: Array.from(shared, (v, k) => v / Math.max(ofScene[k]!, 1e-12)),
    coherence: Array.from(shared, (v, k) => v ** 2 / Math.max(ofScene[k]! * ofPlate[k]!, 1e-12)),
  };
}

/** Splits the transform of plate + i·scene and adds its powers and the real part of plate·conj(scene) to their bands. */
function addPatch(
  re: Float64Array,
  im: Float64Array,
  n: number,
  bands: Int8Array,
  shared: Float64Array,
  ofScene: Float64Array,
  ofPlate: Float64Array,
): void {
  for (let k = 0; k < n * n; k++) {
    const band = bands[k]!;
    if (band < 0) continue;
    const m = ((n - Math.floor(k / n)) % n) * n + ((n - (k % n)) % n);
    const pr = (re[k]! + re[m]!) / 2;
    const pi = (im[k]! - im[m]!) / 2;
    const sr = (im[k]! + im[m]!) / 2;
    const si = (re[m]! - re[k]!) / 2;
    shared[band]! += pr * sr + pi * si;
    ofScene[band]! += sr * sr + si * si;
    ofPlate[band]! += pr * pr + pi * pi;
  }
}

/** The band that each bin of an n x n transform belongs to, −1 for none. */
function bandOfBins(n: number, truthPxPerFramePx: number): Int8Array {
  const signed = (k: number): number => (k < n / 2 ? k : k - n);
  return Int8Array.from({ length: n * n }, (_, k) => {
    const frequency = (Math.hypot(signed(k % n), signed(Math.floor(k / n))) / n) * truthPxPerFramePx;
    return TRANSFER_BANDS.findIndex(([from, below]) => frequency >= from && frequency < below);
  });
}

function filled(mask: Mask, x: number, y: number, size: number): number {
  let sum = 0;
  for (let row = y; row < y + size; row++) {
    for (let i = row * mask.width + x; i < row * mask.width + x + size; i++) sum += mask.data[i]!;
  }
  return sum / (size * size);
}

function windowInto(target: Float64Array, plane: Plane, x: number, y: number, size: number): void {
  let sum = 0;
  for (let row = 0; row < size; row++) {
    for (let column = 0; column < size; column++) sum += plane.data[(y + row) * plane.width + x + column]!;
  }
  const mean = sum / (size * size);
  const weights = Float64Array.from({ length: size }, (_, i) => 0.5 - 0.5 * Math.cos((2 * Math.PI * i) / (size - 1)));
  for (let row = 0; row < size; row++) {
    for (let column = 0; column < size; column++) {
      const value = plane.data[(y + row) * plane.width + x + column]! - mean;
      target[row * size + column] = value * weights[row]! * weights[column]!;
    }
  }
}
