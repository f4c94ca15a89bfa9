import { gaussianBlur } from './gaussian.js';
import { createPlane, type Plane } from './image.js';

/** A blob of the picture at its own size (Lowe 2004, doi:10.1023/B:VISI.0000029664.99615.94). */
export interface Keypoint {
  /** Place in px of the picture that was searched. */
  readonly x: number;
  readonly y: number;
  /** Size (σ) in px of the picture that was searched. */
  readonly sigmaPx: number;
  /** The same place and size in px of {@link level}. */
  readonly levelX: number;
  readonly levelY: number;
  readonly levelSigmaPx: number;
  /** The blurred, perhaps coarser picture in which it was found. */
  readonly level: Plane;
  /** Depth of the extremum. */
  readonly strength: number;
}

const STEPS_PER_OCTAVE = 3;
const BASE_SIGMA_PX = 1.6;
/** Blur that a picture is taken to come with. */
const NATIVE_SIGMA_PX = 0.5;
const SMALLEST_SIDE_PX = 24;
/** Extrema shallower than this (picture range 0 to 1) are noise. */
const MIN_STRENGTH = 0.003;
/** Largest ratio of principal curvatures: beyond it the place is free to slide along an edge. */
const MAX_EDGE_RATIO = 10;
/** Extrema this close to the picture's border (level px) are left out. */
const MARGIN_PX = 6;

/** The `most` strongest extrema of the difference-of-Gaussians scale space of a picture whose values run from 0 to 1. */
export function findKeypoints(picture: Plane, most: number): Keypoint[] {
  const found: Keypoint[] = [];
  let base = gaussianBlur(picture, Math.sqrt(BASE_SIGMA_PX ** 2 - NATIVE_SIGMA_PX ** 2));
  for (let factor = 1; Math.min(base.width, base.height) >= SMALLEST_SIDE_PX; factor *= 2) {
    const levels = [base];
    for (let s = 1; s < STEPS_PER_OCTAVE + 3; s++) {
      const step = Math.sqrt(sigmaOf(s) ** 2 - sigmaOf(s - 1) ** 2);
      levels.push(gaussianBlur(levels[s - 1]!, step));
    }
    const differences = levels.slice(1).map((level, s) => difference(level, levels[s]!));
    for (let s = 1; s <= STEPS_PER_OCTAVE; s++) collect(differences, levels[s]!, s, factor, found);
    base = everySecond(levels[STEPS_PER_OCTAVE]!);
  }
  return found.sort((p, q) => q.strength - p.strength).slice(0, most);
}

function sigmaOf(step: number): number {
  return BASE_SIGMA_PX * 2 ** (step / STEPS_PER_OCTAVE);
}

function difference(a: Plane, b: Plane): Plane {
  const out = createPlane(a.width, a.height);
  for (let i = 0; i < out.data.length; i++) out.data[i] = a.data[i]! - b.data[i]!;
  return out;
}

function everySecond(plane: Plane): Plane {
  const out = createPlane(plane.width >> 1, plane.height >> 1);
  for (let y = 0; y < out.height; y++) {
    for (let x = 0; x < out.width; x++) out.data[y * out.width + x] = plane.data[2 * y * plane.width + 2 * x]!;
  }
  return out;
}

function collect(differences: Plane[], level: Plane, s: number, factor: number, found: Keypoint[]): void {
  const { width, height, data } = differences[s]!;
  const below = differences[s - 1]!.data;
  const above = differences[s + 1]!.data;
  for (let y = MARGIN_PX; y < height - MARGIN_PX; y++) {
    for (let x = MARGIN_PX; x < width - MARGIN_PX; x++) {
      const i = y * width + x;
      const value = data[i]!;
      if (Math.abs(value) < MIN_STRENGTH || !isExtremum(below, data, above, i, width)) continue;
      if (isEdge(data, i, width)) continue;
      const levelX = x + vertex(data[i - 1]!, value, data[i + 1]!);
      const levelY = y + vertex(data[i - width]!, value, data[i + width]!);
      const levelSigmaPx = sigmaOf(s + vertex(below[i]!, value, above[i]!));
      const place = { x: levelX * factor, y: levelY * factor, sigmaPx: levelSigmaPx * factor };
      found.push({ ...place, levelX, levelY, levelSigmaPx, level, strength: Math.abs(value) });
    }
  }
}

function isExtremum(below: Float32Array, here: Float32Array, above: Float32Array, i: number, width: number): boolean {
  const value = here[i]!;
  const sign = value > 0 ? 1 : -1;
  for (let dy = -width; dy <= width; dy += width) {
    for (let k = i + dy - 1; k <= i + dy + 1; k++) {
      if (sign * (here[k]! - value) > 0 || sign * (below[k]! - value) >= 0 || sign * (above[k]! - value) >= 0)
        return false;
    }
  }
  return true;
}

function isEdge(data: Float32Array, i: number, width: number): boolean {
  const xx = data[i - 1]! + data[i + 1]! - 2 * data[i]!;
  const yy = data[i - width]! + data[i + width]! - 2 * data[i]!;
  const xy = (data[i + width + 1]! + data[i - width - 1]! - data[i + width - 1]! - data[i - width + 1]!) / 4;
  const determinant = xx * yy - xy * xy;
  return determinant <= 0 || (xx + yy) ** 2 * MAX_EDGE_RATIO >= (MAX_EDGE_RATIO + 1) ** 2 * determinant;
}

/** Offset (−0.5 to 0.5) of the extremum of the parabola through three neighbours. */
function vertex(left: number, middle: number, right: number): number {
  const curvature = left + right - 2 * middle;
  return curvature === 0 ? 0 : Math.max(-0.5, Math.min(0.5, (left - right) / (2 * curvature)));
}
