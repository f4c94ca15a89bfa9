import { gaussianBlur } from '../compute/gaussian.js';
import { solveInPlace } from '../compute/small-solve.js';
import { type PairLevel, shiftedRow } from './pair-normal.js';
import { lagged, type PatternModel, patternModel, whitenResidual } from './pair-pattern-noise.js';

/** The state of a pair that differ by a shift: fixed = gain · moving(x − shift) + offset. */
export interface ShiftState {
  readonly shiftX: number;
  readonly shiftY: number;
  readonly gain: number;
  readonly offset: number;
}

/** A shift measured in spite of a pattern that is fixed to the sensor. */
export interface PatternShift extends ShiftState {
  /** Covariance of shift x, shift y, 2 × 2. */
  readonly covariance: Float64Array;
}

/** Part of the fixed picture, px: x0 ≤ x < x1, y0 ≤ y < y1. */
export interface PairWindow {
  readonly x0: number;
  readonly y0: number;
  readonly x1: number;
  readonly y1: number;
}

/**
 * Refines a shift between two pictures of one sensor with a fixed pattern (dust, uneven pixels). The difference of the
 * pictures, once the scene cancels, holds the pattern twice, at x and at x + shift: noise of known colour. Generalised
 * least squares (Aitken 1935) whitens it, chains of equal steps and their ends included, with a template gradient
 * smoothed against what is left of the pattern in it. Undefined when there is no pattern worth it, when the shift is
 * too small to tell pattern from scene, or when pixels are masked.
 */
export function patternShift(fixed: PairLevel, moving: PairLevel, initial: ShiftState): PatternShift | undefined {
  if (fixed.width !== moving.width || fixed.height !== moving.height || fixed.variance || moving.variance)
    return undefined;
  if (Math.hypot(initial.shiftX, initial.shiftY) < LEAST_SHIFT_PX) return undefined;
  const window = windowFor(fixed, initial);
  if (window.x1 - window.x0 < LEAST_SIDE_PX || window.y1 - window.y0 < LEAST_SIDE_PX) return undefined;
  if (area(window) > MOST_PX || !isPatterned(fixed, moving, middleOf(window), initial)) return undefined;
  const model = modelOf(fixed, moving, window, initial);
  const solver = model && solverFor(fixed, moving, window, initial, model);
  if (!solver) return undefined;
  let found = solver(initial);
  for (let step = 1; step < STEPS; step++) found = solver(found);
  const moved = Math.hypot(found.shiftX - initial.shiftX, found.shiftY - initial.shiftY);
  return moved < MOST_MOVE_PX ? found : undefined;
}

const STEPS = 3;
const LEAST_SHIFT_PX = 2;
const LEAST_SIDE_PX = 48;
/** Beyond this the solution would take many seconds. */
const MOST_PX = 1_000_000;
const MOST_MOVE_PX = 0.5;

function area({ x0, y0, x1, y1 }: PairWindow): number {
  return (x1 - x0) * (y1 - y0);
}

/** Whether the residual correlates negatively with itself one whole step on. */
function isPatterned(fixed: PairLevel, moving: PairLevel, window: PairWindow, state: ShiftState): boolean {
  const r = residualOf(fixed, moving, window, state);
  const [width, height] = [window.x1 - window.x0, window.y1 - window.y0];
  const [dx, dy] = [Math.round(-state.shiftX), Math.round(-state.shiftY)];
  return lagged(r, width, height, dx, dy) < -LEAST_CORRELATION * lagged(r, width, height, 0, 0);
}

const LEAST_CORRELATION = 0.04;

/** The middle of a window, 96 × 96 px at most: enough to see whether there is a pattern. */
function middleOf({ x0, y0, x1, y1 }: PairWindow): PairWindow {
  const x = Math.max(x0, Math.round((x0 + x1) / 2) - 48);
  const y = Math.max(y0, Math.round((y0 + y1) / 2) - 48);
  return { x0: x, y0: y, x1: Math.min(x1, x + 96), y1: Math.min(y1, y + 96) };
}

function modelOf(fixed: PairLevel, moving: PairLevel, window: PairWindow, state: ShiftState): PatternModel | undefined {
  const r = residualOf(fixed, moving, window, state);
  return patternModel(r, lightOf(fixed, r, window), window, state);
}

/** Half of the central difference that tells how the residual changes with the shift, px. */
const PROBE_PX = 0.1;

/** Where all taps lie in the moving picture, whatever the last digits of the shift. */
function windowFor({ width, height }: PairLevel, { shiftX, shiftY }: ShiftState): PairWindow {
  const margin = 3;
  return {
    x0: Math.max(margin, Math.ceil(shiftX) + margin),
    y0: Math.max(margin, Math.ceil(shiftY) + margin),
    x1: Math.min(width - margin, Math.floor(width + shiftX) - margin),
    y1: Math.min(height - margin, Math.floor(height + shiftY) - margin),
  };
}

/** Newton steps of Σ y·(a − b) = 0, with y the whitened gradients, and light and level for gain and offset. */
function solverFor(
  fixed: PairLevel,
  moving: PairLevel,
  window: PairWindow,
  start: ShiftState,
  model: PatternModel,
): ((state: ShiftState) => PatternShift) | undefined {
  const template = templateOf(fixed, residualOf(fixed, moving, window, start), window, model);
  const yx = whitenResidual(template.x, window, model);
  const yy = whitenResidual(template.y, window, model);
  const instruments = [yx, yy, template.light, template.level];
  const change = (dx: number, dy: number): Float64Array => {
    const plus = residualOf(fixed, moving, window, { ...start, shiftX: start.shiftX + dx, shiftY: start.shiftY + dy });
    const minus = residualOf(fixed, moving, window, { ...start, shiftX: start.shiftX - dx, shiftY: start.shiftY - dy });
    return plus.map((v, i) => (v - minus[i]!) / (2 * PROBE_PX));
  };
  const columns = [change(PROBE_PX, 0), change(0, PROBE_PX), template.light, template.level];
  const inverse = inverted(instruments.map((y) => columns.map((c, k) => (k < 2 ? 1 : -1) * dot(y, c))));
  if (!inverse) return undefined;
  const scatter = [dot(yx, template.x), dot(yx, template.y), dot(yx, template.y), dot(yy, template.y)];
  const covariance = new Float64Array(4);
  for (let j = 0; j < 4; j++)
    for (let k = 0; k < 4; k++) covariance[j]! += inverse[j >> 1]![k >> 1]! * scatter[k]! * inverse[j & 1]![k & 1]!;
  return (state) => {
    const r = residualOf(fixed, moving, window, state);
    const score = instruments.map((y) => dot(y, r));
    const step = inverse.map((row) => -row.reduce((sum, v, k) => sum + v * score[k]!, 0));
    const gainFactor = 1 + step[2]!;
    return {
      shiftX: state.shiftX + step[0]!,
      shiftY: state.shiftY + step[1]!,
      gain: state.gain * gainFactor,
      offset: state.offset * gainFactor + step[3]! - step[2]! * template.mean,
      covariance,
    };
  };
}

/** fixed − gain · moving − offset over the window, row-major. */
function residualOf(fixed: PairLevel, moving: PairLevel, window: PairWindow, state: ShiftState): Float64Array {
  const { x0, y0, x1, y1 } = window;
  const inverse = { xx: 1, xy: 0, yx: 0, yy: 1, tx: -state.shiftX, ty: -state.shiftY };
  const row = new Float32Array(fixed.width);
  const out = new Float64Array((x1 - x0) * (y1 - y0));
  let k = 0;
  for (let y = y0; y < y1; y++) {
    shiftedRow(moving, inverse, y, state.gain, state.offset, x0, x1, row);
    for (let x = x0; x < x1; x++) out[k++] = fixed.data[y * fixed.width + x]! - row[x]!;
  }
  return out;
}

interface Template {
  readonly x: Float64Array;
  readonly y: Float64Array;
  /** Light less its mean, and ones. */
  readonly light: Float64Array;
  readonly level: Float64Array;
  readonly mean: number;
}

/** Gradient of the mean of both pictures, smoothed by as much as their noise asks for. */
function templateOf(fixed: PairLevel, r: Float64Array, window: PairWindow, model: PatternModel): Template {
  const width = window.x1 - window.x0;
  const height = window.y1 - window.y0;
  const mean = new Float32Array(width * height);
  let sum = 0;
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const k = y * width + x;
      mean[k] = fixed.data[(y + window.y0) * fixed.width + x + window.x0]! - r[k]! / 2;
      sum += mean[k]!;
    }
  }
  const average = sum / mean.length;
  const plain = gradient(mean, width, height);
  const energy = (dot(plain.x, plain.x) + dot(plain.y, plain.y)) / (2 * mean.length);
  const light2 = model.light.reduce((sum, v) => sum + v * v, 0) / model.light.length;
  const noise = 0.45 * (model.pattern * light2 + model.noise);
  const share = noise / Math.max(1e-300, energy - noise);
  const sigmaPx = share < 0.03 ? 0.5 : share < 0.2 ? 0.7 : 1;
  const smooth = gaussianBlur({ width, height, data: mean.map((v) => v - average) }, sigmaPx).data;
  const light = Float64Array.from(smooth);
  return { ...gradient(smooth, width, height), light, level: new Float64Array(light.length).fill(1), mean: average };
}

/** Smooth light of the window, at least a twentieth of its mean. */
function lightOf(fixed: PairLevel, r: Float64Array, window: PairWindow): Float32Array {
  const width = window.x1 - window.x0;
  const height = window.y1 - window.y0;
  const mean = new Float32Array(width * height);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const k = y * width + x;
      mean[k] = fixed.data[(y + window.y0) * fixed.width + x + window.x0]! - r[k]! / 2;
    }
  }
  const smooth = gaussianBlur({ width, height, data: mean }, 1.5).data;
  const least = Math.abs(smooth.reduce((sum, v) => sum + v, 0)) / smooth.length / 20;
  return smooth.map((v) => Math.max(v, least));
}

/** Five-point derivatives, 0 on the outermost two pixels. */
function gradient(data: Float32Array, width: number, height: number): { x: Float64Array; y: Float64Array } {
  const gx = new Float64Array(data.length);
  const gy = new Float64Array(data.length);
  for (let y = 2; y < height - 2; y++) {
    for (let x = 2; x < width - 2; x++) {
      const i = y * width + x;
      gx[i] = (8 * (data[i + 1]! - data[i - 1]!) - (data[i + 2]! - data[i - 2]!)) / 12;
      gy[i] = (8 * (data[i + width]! - data[i - width]!) - (data[i + 2 * width]! - data[i - 2 * width]!)) / 12;
    }
  }
  return { x: gx, y: gy };
}

function dot(a: Float64Array, b: Float64Array): number {
  let sum = 0;
  for (let i = 0; i < a.length; i++) sum += a[i]! * b[i]!;
  return sum;
}

/** Inverse of a small matrix, through its normal equations; undefined when it is singular. */
function inverted(m: readonly (readonly number[])[]): number[][] | undefined {
  const n = m.length;
  const normal = new Float64Array(n * n);
  for (let j = 0; j < n; j++)
    for (let k = 0; k < n; k++) for (let l = 0; l < n; l++) normal[j * n + k]! += m[l]![j]! * m[l]![k]!;
  const scale = Array.from({ length: n }, (_, j) => 1 / Math.sqrt(normal[j * n + j]! || 1));
  for (let j = 0; j < n; j++) for (let k = 0; k < n; k++) normal[j * n + k]! *= scale[j]! * scale[k]!;
  const out = Array.from({ length: n }, () => new Array<number>(n).fill(0));
  for (let l = 0; l < n; l++) {
    const column = Float64Array.from({ length: n }, (_, j) => m[l]![j]! * scale[j]!);
    if (!solveInPlace(normal.slice(), column, n)) return undefined;
    for (let j = 0; j < n; j++) out[j]![l] = column[j]! * scale[j]!;
  }
  return out;
}
