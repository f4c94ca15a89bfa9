/**
 * Writes to `out[at…]` the blurred profile of a shaded unit step and its derivatives by `t` and by `shading`. `t` is the
 * depth below the edge, in sigmas of the Gaussian blur; without blur the profile is 0 outside and inside 1 / (1 + κ·√t)
 * for a shading κ ≥ 0, 1 − κ·√t for κ < 0. |κ| is limited to 2. From tables: to about 5e-4.
 */
export function shadedStep(out: Float64Array, at: number, t: number, shading: number): void {
  const kappa = Math.max(-MOST_SHADING, Math.min(MOST_SHADING, shading));
  if (t <= -REACH) {
    out.fill(0, at, at + 3);
    return;
  }
  if (t >= REACH) {
    deepInside(out, at, t, kappa);
    return;
  }
  table ??= tabulate();
  const u = (t + REACH) / SPACING;
  const v = (kappa + MOST_SHADING) / SHADING_SPACING;
  const i = Math.min(COLUMNS - 2, Math.floor(u));
  const j = Math.min(ROWS - 2, Math.floor(v));
  const p = j * COLUMNS + i;
  const fu = u - i;
  const fv = v - j;
  const low = table[p]! + fu * (table[p + 1]! - table[p]!);
  const high = table[p + COLUMNS]! + fu * (table[p + COLUMNS + 1]! - table[p + COLUMNS]!);
  out[at] = low + fv * (high - low);
  const left = table[p]! + fv * (table[p + COLUMNS]! - table[p]!);
  const right = table[p + 1]! + fv * (table[p + COLUMNS + 1]! - table[p + 1]!);
  out[at + 1] = (right - left) / SPACING;
  out[at + 2] = (high - low) / SHADING_SPACING;
}

const REACH = 6;
const SPACING = 0.04;
const COLUMNS = Math.round((2 * REACH) / SPACING) + 1;
const MOST_SHADING = 2;
const SHADING_SPACING = 0.02;
const ROWS = Math.round((2 * MOST_SHADING) / SHADING_SPACING) + 1;
/** Made at the first call. */
let table: Float64Array | undefined;

/** Far from the edge the blur adds half the second derivative. */
function deepInside(out: Float64Array, at: number, t: number, kappa: number): void {
  const root = Math.sqrt(t);
  const value = kappa < 0 ? 1 - kappa * root : 1 / (1 + kappa * root);
  const square = kappa < 0 ? 1 : value * value;
  const slope = (-kappa * square) / (2 * root);
  const bend = (kappa * square) / (4 * t * root) + (kappa < 0 ? 0 : (kappa * kappa * square * value) / (2 * t));
  out[at] = value + bend / 2;
  out[at + 1] = slope;
  out[at + 2] = -root * square;
}

/** Convolution by the midpoint rule in v = √depth, in which the integrand is smooth at the edge: d(depth) = 2v dv. */
function tabulate(): Float64Array {
  const table = new Float64Array(ROWS * COLUMNS);
  const fine = 0.02;
  const norm = fine / Math.sqrt(2 * Math.PI);
  for (let i = 0; i < COLUMNS; i++) {
    const t = i * SPACING - REACH;
    for (let v = fine / 2; v * v < t + REACH + 1; v += fine) {
      const weight = 2 * v * norm * Math.exp(-((t - v * v) ** 2) / 2);
      if (weight < 1e-12) continue;
      for (let j = 0; j < ROWS; j++) {
        const kappa = j * SHADING_SPACING - MOST_SHADING;
        table[j * COLUMNS + i]! += weight * (kappa < 0 ? 1 - kappa * v : 1 / (1 + kappa * v));
      }
    }
  }
  return table;
}
