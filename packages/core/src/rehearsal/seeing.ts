import type { Random } from '../compute/random.js';
import type { RehearsalSeeing } from './settings.js';

/** Local displacement of one frame: two components on a coarse grid of knots, frame px. */
export interface WarpField {
  readonly columns: number;
  readonly rows: number;
  /** Distance of the knots, frame px; knot (0, 0) lies on pixel (0, 0). */
  readonly spacingPx: number;
  /** Displacement to the right and downwards at the knots. */
  readonly dx: Float32Array;
  readonly dy: Float32Array;
}

/** Common shift of every frame of a pass, (x, y), frame px. */
export function tiltTrack(seeing: RehearsalSeeing, frames: number, random: Random): [number, number][] {
  const across = correlated(seeing, frames, random.fork('x'));
  const down = correlated(seeing, frames, random.fork('y'));
  return across.map((x, k) => [seeing.tiltPx * clip(x), seeing.tiltPx * clip(down[k]!)]);
}

/** Blur of every frame of a pass: it comes and goes between the two ends. */
export function blurTrack(seeing: RehearsalSeeing, frames: number, random: Random): number[] {
  const [calm, worst] = seeing.blurPx;
  return correlated(seeing, frames, random).map((v) => calm + (worst - calm) / (1 + Math.exp(-1.8 * v)));
}

/**
 * Makes the warps of a pass, one frame after the other: smooth random fields with the variance of `warpPx` and the memory of
 * `correlationFrames`. Call it once per frame, in order.
 */
export function warpSequence(
  seeing: RehearsalSeeing,
  frameWidthPx: number,
  frameHeightPx: number,
  random: Random,
): (frame: number) => WarpField | undefined {
  if (seeing.warpPx === 0) return () => undefined;
  const correlationPx = seeing.correlationShare * Math.min(frameWidthPx, frameHeightPx);
  const spacingPx = Math.max(4, correlationPx / 3);
  const columns = Math.ceil(frameWidthPx / spacingPx) + 2;
  const rows = Math.ceil(frameHeightPx / spacingPx) + 2;
  const memory = memoryOf(seeing);
  const fresh = Math.sqrt(1 - memory * memory);
  let dx: Float32Array | undefined;
  let dy: Float32Array | undefined;
  return (frame) => {
    const source = random.fork(`frame-${frame}`);
    const nextX = smoothField(columns, rows, seeing.warpPx, source.fork('x'));
    const nextY = smoothField(columns, rows, seeing.warpPx, source.fork('y'));
    if (dx !== undefined && dy !== undefined) {
      for (let i = 0; i < nextX.length; i++) {
        nextX[i] = memory * dx[i]! + fresh * nextX[i]!;
        nextY[i] = memory * dy[i]! + fresh * nextY[i]!;
      }
    }
    dx = nextX;
    dy = nextY;
    return { columns, rows, spacingPx, dx, dy };
  };
}

/** Displacement (x, y) at a place of the frame, between knots by cubic B-splines, so that it is smooth. */
export function warpAt(field: WarpField, x: number, y: number): [number, number] {
  const u = x / field.spacingPx;
  const v = y / field.spacingPx;
  const column = Math.floor(u);
  const row = Math.floor(v);
  const wu = splineWeights(u - column);
  const wv = splineWeights(v - row);
  let sumX = 0;
  let sumY = 0;
  for (let j = 0; j < 4; j++) {
    const r = Math.min(field.rows - 1, Math.max(0, row + j - 1)) * field.columns;
    for (let i = 0; i < 4; i++) {
      const at = r + Math.min(field.columns - 1, Math.max(0, column + i - 1));
      const weight = wu[i]! * wv[j]!;
      sumX += weight * field.dx[at]!;
      sumY += weight * field.dy[at]!;
    }
  }
  return [sumX, sumY];
}

function splineWeights(t: number): readonly [number, number, number, number] {
  const s = 1 - t;
  return [(s * s * s) / 6, 2 / 3 - t * t + (t * t * t) / 2, 2 / 3 - s * s + (s * s * s) / 2, (t * t * t) / 6];
}

/** White noise under a Gaussian of sigma 1.5 knots, brought to the asked rms over the ensemble. */
function smoothField(columns: number, rows: number, rms: number, random: Random): Float32Array {
  const reach = 5;
  const wide = columns + 2 * reach;
  const tall = rows + 2 * reach;
  const kernel = Array.from({ length: 2 * reach + 1 }, (_, k) => Math.exp(-((k - reach) ** 2) / 4.5));
  const white = Float32Array.from({ length: wide * tall }, () => random.normal());
  // The spline through the knots smooths once more and leaves 0.925 of the power per axis: hence the 1.08.
  const power = kernel.reduce((sum, k) => sum + k * k, 0);
  const scale = (rms / power) * 1.08;
  const half = new Float32Array(columns * tall);
  for (let y = 0; y < tall; y++) {
    for (let x = 0; x < columns; x++) {
      let sum = 0;
      for (let k = 0; k < kernel.length; k++) sum += kernel[k]! * white[y * wide + x + k]!;
      half[y * columns + x] = sum;
    }
  }
  const out = new Float32Array(columns * rows);
  for (let y = 0; y < rows; y++) {
    for (let x = 0; x < columns; x++) {
      let sum = 0;
      for (let k = 0; k < kernel.length; k++) sum += kernel[k]! * half[(y + k) * columns + x]!;
      out[y * columns + x] = sum * scale;
    }
  }
  return out;
}

/** A standard normal track with the seeing's memory. */
function correlated(seeing: RehearsalSeeing, frames: number, random: Random): number[] {
  const memory = memoryOf(seeing);
  const fresh = Math.sqrt(1 - memory * memory);
  const track: number[] = [];
  for (let k = 0; k < frames; k++) {
    const value = random.fork(`${k}`).normal();
    track.push(k === 0 ? value : memory * track[k - 1]! + fresh * value);
  }
  return track;
}

function memoryOf(seeing: RehearsalSeeing): number {
  return seeing.correlationFrames > 0 ? Math.exp(-1 / seeing.correlationFrames) : 0;
}

function clip(value: number): number {
  return Math.min(3, Math.max(-3, value));
}
