import { gaussianBlur } from '../compute/gaussian.js';
import { createPlane, type Plane } from '../compute/image.js';
import { quantile } from '../compute/quantile.js';
import { fitAffine } from '../compute/similarity.js';
import { correlationShift } from './score-shift.js';

/** The shift of one patch of the plate against the scene, truth px. */
export interface PatchShift {
  /** Centre of the patch. */
  readonly x: number;
  readonly y: number;
  /** What has to be added to the plate's position. */
  readonly shiftX: number;
  readonly shiftY: number;
}

/** The plate's light and coverage on the scene's grid. */
export interface WarpedPlate {
  readonly light: Plane;
  readonly coverage: Plane;
}

/** Distortion of the plate, frame px (space 2). */
export interface GeometryScore {
  /** Patches that could be compared. */
  readonly patches: number;
  /** Residual shift after the best similarity: root mean square, 95th percentile and largest. */
  readonly geometryRmsPx: number;
  readonly geometryP95Px: number;
  readonly geometryMaxPx: number;
  /** Root mean square after the best affine map instead: well below the other when the plate is stretched, not torn. */
  readonly affineRmsPx: number;
}

const PATCH_PX = 128;
/** Ground is lit above this share of the scene's 99.5th percentile. */
const LIT_SHARE = 0.03;
const LEAST_LIT = 0.97;
const LEAST_COVERAGE = 0.99;
/** Ground whose detail has less contrast than this cannot be located. */
const LEAST_CONTRAST = 0.01;
const LEAST_CORRELATION = 0.5;
/** The scene is finer than any plate: detail below this σ is left out. */
const FINE_SIGMA_PX = 1.5;

/** Measures the patches of a plate, one every `stepPx` truth px, wherever lit ground is covered. */
export type PatchMeter = (warped: WarpedPlate, stepPx: number) => PatchShift[];

/** A meter for one scene, which keeps the scene's side of every patch: rounds after the first cost half as much. */
export function createPatchMeter(scene: Plane): PatchMeter {
  const limit = LIT_SHARE * quantile(scene.data, 0.995);
  const window = hann(PATCH_PX);
  const known = new Map<number, Plane | null>();
  const truthAt = (x: number, y: number): Plane | null => {
    const key = y * scene.width + x;
    let detail = known.get(key);
    if (detail === undefined) {
      detail = truthDetail(cut(scene, x, y), limit);
      known.set(key, detail);
    }
    return detail;
  };
  return (warped, stepPx) => {
    const shifts: PatchShift[] = [];
    for (let y = 0; y < scene.height - PATCH_PX; y += stepPx) {
      for (let x = 0; x < scene.width - PATCH_PX; x += stepPx) {
        const truth = truthAt(x, y);
        if (!truth || share(cut(warped.coverage, x, y), (v) => v >= LEAST_COVERAGE) < 1) continue;
        const shift = compare(truth, cut(warped.light, x, y), window);
        if (shift) shifts.push({ x: x + PATCH_PX / 2, y: y + PATCH_PX / 2, shiftX: shift.x, shiftY: shift.y });
      }
    }
    return shifts;
  };
}

/** Sums the shifts up. `shifts` are what is left after the best similarity; at least three, not in one line. */
export function scoreGeometry(shifts: readonly PatchShift[], truthPxPerFramePx: number): GeometryScore {
  const lengths = shifts.map((s) => Math.hypot(s.shiftX, s.shiftY) / truthPxPerFramePx);
  const pairs = shifts.map((s) => ({ fromX: s.x, fromY: s.y, toX: s.shiftX, toY: s.shiftY }));
  const field = fitAffine(pairs);
  const left = pairs.map(
    (p) =>
      Math.hypot(
        p.toX - field.xx * p.fromX - field.xy * p.fromY - field.tx,
        p.toY - field.yx * p.fromX - field.yy * p.fromY - field.ty,
      ) / truthPxPerFramePx,
  );
  return {
    patches: shifts.length,
    geometryRmsPx: rms(lengths),
    geometryP95Px: quantile(lengths, 0.95),
    geometryMaxPx: quantile(lengths, 1),
    affineRmsPx: rms(left),
  };
}

/** What the plate's patch is compared with; null where the ground is dark or too smooth to be located. */
function truthDetail(truth: Plane, limit: number): Plane | null {
  if (share(truth, (v) => v > limit) < LEAST_LIT) return null;
  const rough = detail(truth);
  return deviation(rough) < LEAST_CONTRAST * mean(truth.data) ? null : gaussianBlur(rough, FINE_SIGMA_PX);
}

function compare(truth: Plane, light: Plane, window: Float64Array): { x: number; y: number } | undefined {
  const plate = gaussianBlur(detail(light), FINE_SIGMA_PX);
  if (!(windowedCorrelation(truth, plate, window) > LEAST_CORRELATION)) return undefined;
  const shift = correlationShift(windowed(truth, window), windowed(plate, window));
  return Math.max(Math.abs(shift.x), Math.abs(shift.y)) < PATCH_PX / 4 ? shift : undefined;
}

function cut(plane: Plane, x: number, y: number): Plane {
  const out = createPlane(PATCH_PX, PATCH_PX);
  for (let row = 0; row < PATCH_PX; row++) {
    const from = (y + row) * plane.width + x;
    out.data.set(plane.data.subarray(from, from + PATCH_PX), row * PATCH_PX);
  }
  return out;
}

function share(patch: Plane, test: (value: number) => boolean): number {
  let count = 0;
  for (const v of patch.data) if (test(v)) count++;
  return count / patch.data.length;
}

/** The patch without its shading. */
function detail(patch: Plane): Plane {
  const out = gaussianBlur(patch, PATCH_PX / 8);
  for (let i = 0; i < out.data.length; i++) out.data[i] = patch.data[i]! - out.data[i]!;
  return out;
}

function windowed(patch: Plane, window: Float64Array): Plane {
  return { ...patch, data: patch.data.map((v, i) => v * windowAt(window, i)) };
}

function windowedCorrelation(a: Plane, b: Plane, window: Float64Array): number {
  let [aa, bb, ab] = [0, 0, 0];
  for (let i = 0; i < a.data.length; i++) {
    const weight = windowAt(window, i);
    aa += weight * a.data[i]! ** 2;
    bb += weight * b.data[i]! ** 2;
    ab += weight * a.data[i]! * b.data[i]!;
  }
  return ab / Math.sqrt(aa * bb + 1e-20);
}

function windowAt(window: Float64Array, i: number): number {
  return window[i % PATCH_PX]! * window[Math.floor(i / PATCH_PX)]!;
}

/** The raised cosine that is 0 at both ends. */
function hann(n: number): Float64Array {
  return Float64Array.from({ length: n }, (_, i) => 0.5 - 0.5 * Math.cos((2 * Math.PI * i) / (n - 1)));
}

function mean(values: Float32Array): number {
  let sum = 0;
  for (const v of values) sum += v;
  return sum / values.length;
}

function deviation(patch: Plane): number {
  const centre = mean(patch.data);
  let square = 0;
  for (const v of patch.data) square += (v - centre) ** 2;
  return Math.sqrt(square / patch.data.length);
}

function rms(values: readonly number[]): number {
  return Math.sqrt(values.reduce((sum, v) => sum + v * v, 0) / values.length);
}
