import type { PairWindow, ShiftState } from './pair-pattern.js';
import { tapsAt } from './pair-taps.js';

/** Variances per pixel of what is fixed to the sensor and of what is not, and how both enter the residual. */
export interface PatternModel {
  /** Of the pattern as a share of the light, squared. */
  readonly pattern: number;
  /** Of the difference of both pictures, without the pattern. */
  readonly noise: number;
  /** Smooth light of each pixel of the window, which the pattern is a share of. */
  readonly light: Float32Array;
  /** From a fixed pixel to the first moving one of the six each way that make up its partner. */
  readonly stepX: number;
  readonly stepY: number;
  /** Times the gain, across; down. */
  readonly tapsX: Float64Array;
  readonly tapsY: Float64Array;
}

/**
 * Measures the pattern in a residual: r(x) = p(x) − g·p(x + step) + noise, so the residual correlates negatively with
 * itself one step on. Undefined when the pattern makes up less than a tenth of the variance.
 */
export function patternModel(
  r: Float64Array,
  light: Float32Array,
  window: PairWindow,
  state: ShiftState,
): PatternModel | undefined {
  const width = window.x1 - window.x0;
  const height = window.y1 - window.y0;
  const [x, y] = [Math.floor(-state.shiftX), Math.floor(-state.shiftY)];
  const tapsX = new Float64Array(6);
  const tapsY = new Float64Array(6);
  tapsAt(-state.shiftX - x, tapsX);
  tapsAt(-state.shiftY - y, tapsY);
  for (let k = 0; k < 6; k++) tapsX[k]! *= state.gain;
  let against = 0;
  let energy = 0;
  let shared = 0;
  for (let j = 0; j < 6; j++) {
    for (let i = 0; i < 6; i++) {
      const weight = tapsX[i]! * tapsY[j]!;
      energy += weight * weight;
      if (Math.abs(weight) < 0.02) continue;
      against -= weight * lagged(r, width, height, x - 2 + i, y - 2 + j);
      shared += weight * weight * lagged(light, width, height, x - 2 + i, y - 2 + j);
    }
  }
  const variance = lagged(r, width, height, 0, 0);
  const perPattern = (1 + energy) * lagged(light, width, height, 0, 0);
  const pattern = Math.min(against / shared, (0.99 * variance) / perPattern);
  if (!(pattern * perPattern > LEAST_SHARE * variance)) return undefined;
  const noise = variance - pattern * perPattern;
  return { pattern, noise, light, stepX: x - 2, stepY: y - 2, tapsX, tapsY };
}

const LEAST_SHARE = 0.1;

/** Mean of r(x)·r(x + lag) over a plane; 0 when nothing overlaps. */
export function lagged(r: Float64Array | Float32Array, width: number, height: number, dx: number, dy: number): number {
  let sum = 0;
  let n = 0;
  for (let y = Math.max(0, -dy); y < Math.min(height, height - dy); y++) {
    for (let x = Math.max(0, -dx); x < Math.min(width, width - dx); x++) {
      sum += r[y * width + x]! * r[(y + dy) * width + x + dx]!;
      n++;
    }
  }
  return n > 0 ? sum / n : 0;
}

/** Solves R·z = values, R the covariance of the residual, by conjugate gradients (Hestenes & Stiefel 1952). */
export function whitenResidual(values: Float64Array, window: PairWindow, model: PatternModel): Float64Array {
  const n = values.length;
  const z = new Float64Array(n);
  const r = Float64Array.from(values);
  const p = Float64Array.from(values);
  const work = patternWork(window, model);
  let rr = 0;
  for (let i = 0; i < n; i++) rr += r[i]! * r[i]!;
  const enough = TOLERANCE * TOLERANCE * rr;
  for (let iteration = 0; iteration < MOST_ITERATIONS && rr > enough; iteration++) {
    const q = covariance(p, window, model, work);
    let pq = 0;
    for (let i = 0; i < n; i++) pq += p[i]! * q[i]!;
    const alpha = rr / pq;
    let next = 0;
    for (let i = 0; i < n; i++) {
      z[i]! += alpha * p[i]!;
      r[i]! -= alpha * q[i]!;
      next += r[i]! * r[i]!;
    }
    const beta = next / rr;
    for (let i = 0; i < n; i++) p[i] = r[i]! + beta * p[i]!;
    rr = next;
  }
  return z;
}

const TOLERANCE = 0.01;
const MOST_ITERATIONS = 60;

interface PatternWork {
  /** The sensor, as far as either end of a step reaches, and where the window and its partners begin in it. */
  readonly width: number;
  readonly at: number;
  readonly ahead: number;
  readonly sensor: Float64Array;
  readonly partner: Float64Array;
  /** Rows of the window, five columns more. */
  readonly wide: Float64Array;
  readonly out: Float64Array;
  readonly lit: Float64Array;
  readonly line: Float64Array;
}

function patternWork(window: PairWindow, { stepX, stepY }: PatternModel): PatternWork {
  const [w, h] = [window.x1 - window.x0, window.y1 - window.y0];
  const width = w + Math.abs(stepX) + 5;
  const height = h + Math.abs(stepY) + 5;
  return {
    width,
    at: Math.max(0, -stepY) * width + Math.max(0, -stepX),
    ahead: Math.max(0, stepY) * width + Math.max(0, stepX),
    sensor: new Float64Array(width * height),
    partner: new Float64Array((w + 5) * (h + 5)),
    wide: new Float64Array((w + 5) * h),
    out: new Float64Array(w * h),
    lit: new Float64Array(w * h),
    line: new Float64Array(w + 10),
  };
}

/**
 * The covariance of the residual times z. With T the moving picture's interpolation, S the light and C p = p(x) − T p:
 * pattern · S·C·Cᵀ·S z + noise · z.
 */
function covariance(z: Float64Array, window: PairWindow, model: PatternModel, work: PatternWork): Float64Array {
  const { pattern, noise, light, tapsX, tapsY } = model;
  const { width, at, ahead, sensor, partner, lit, out } = work;
  const w = window.x1 - window.x0;
  const h = window.y1 - window.y0;
  const v = w + 5;
  for (let k = 0; k < z.length; k++) lit[k] = z[k]! * light[k]!;
  spread(w, h, tapsX, tapsY, work);
  sensor.fill(0);
  for (let y = 0; y < h; y++) for (let x = 0; x < w; x++) sensor[at + y * width + x] = lit[y * w + x]!;
  for (let y = 0; y < h + 5; y++) {
    for (let x = 0, i = ahead + y * width, k = y * v; x < v; x++, i++, k++) {
      sensor[i]! -= partner[k]!;
    }
  }
  for (let y = 0; y < h + 5; y++)
    for (let x = 0, i = ahead + y * width, k = y * v; x < v; x++, i++, k++) partner[k] = -sensor[i]!;
  gather(w, h, tapsX, tapsY, work);
  for (let y = 0; y < h; y++) {
    for (let x = 0, k = y * w, i = at + y * width; x < w; x++, k++, i++) {
      out[k] = pattern * light[k]! * (out[k]! + sensor[i]!) + noise * z[k]!;
    }
  }
  return out;
}

/** partner = Tᵀ lit. */
function spread(
  w: number,
  h: number,
  [a, b, c, d, e, f]: Float64Array,
  tapsY: Float64Array,
  { lit, line, wide, partner }: PatternWork,
): void {
  const v = w + 5;
  for (let y = 0; y < h; y++) {
    line.set(lit.subarray(y * w, y * w + w), 5);
    for (let x = 0; x < v; x++) {
      wide[y * v + x] =
        a! * line[x + 5]! +
        b! * line[x + 4]! +
        c! * line[x + 3]! +
        d! * line[x + 2]! +
        e! * line[x + 1]! +
        f! * line[x]!;
    }
  }
  partner.fill(0);
  for (let j = 0; j < 6; j++) {
    const weight = tapsY[j]!;
    for (let k = 0, i = j * v; k < v * h; k++, i++) partner[i]! += weight * wide[k]!;
  }
}

/** out = T partner. */
function gather(
  w: number,
  h: number,
  [a, b, c, d, e, f]: Float64Array,
  [p, q, r, s, t, u]: Float64Array,
  { wide, partner, out }: PatternWork,
): void {
  const v = w + 5;
  for (let k = 0; k < v * h; k++) {
    wide[k] =
      p! * partner[k]! +
      q! * partner[k + v]! +
      r! * partner[k + 2 * v]! +
      s! * partner[k + 3 * v]! +
      t! * partner[k + 4 * v]! +
      u! * partner[k + 5 * v]!;
  }
  for (let y = 0; y < h; y++) {
    for (let x = 0; x < w; x++) {
      const k = y * v + x;
      out[y * w + x] =
        a! * wide[k]! +
        b! * wide[k + 1]! +
        c! * wide[k + 2]! +
        d! * wide[k + 3]! +
        e! * wide[k + 4]! +
        f! * wide[k + 5]!;
    }
  }
}
