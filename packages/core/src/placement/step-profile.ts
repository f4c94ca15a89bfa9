import { solveInPlace } from '../compute/small-solve.js';

/** Light along the radius near an edge: mean distance, mean value and count of the pixels of each fine bin. */
export interface RadialProfile {
  /** Distance outwards from the assumed edge, px. */
  readonly distance: Float64Array;
  readonly value: Float64Array;
  readonly count: Float64Array;
}

/** A blurred step that was fitted to a profile. */
export interface StepFit {
  /** Outward distance of the edge from the assumed one, px. */
  readonly offsetPx: number;
  /** Its variance from the scatter of the profile about the fit, px². */
  readonly variance: number;
  /** Light outside. */
  readonly sky: number;
  /** Light just inside the edge, above the sky. */
  readonly step: number;
  /** Shading inside: light is sky + step·(1 + shading·√depth), depth in px. */
  readonly shading: number;
  /** Sigma of the Gaussian that stands for blur and pixel, px. */
  readonly blurPx: number;
}

/** What is known before the fit. */
export interface StepStart {
  readonly offsetPx: number;
  readonly blurPx: number;
  /** Holds blur and shading at fixed values; without it both are free. */
  readonly held?: { readonly shading: number };
}

/**
 * Fits a step, blurred by a Gaussian, whose inside is shaded as 1 + c·√depth: the first term of any law of scattering
 * in the cosine of emission at the limb of a sphere, be it a bright rim (Lommel–Seeliger) or a dark one (the Sun).
 * A plain half-level crossing would be off by the shading within the blur. Gauss–Newton with damping. Undefined when the
 * profile has no rising edge.
 */
export function fitStep(profile: RadialProfile, start: StepStart): StepFit | undefined {
  const free = start.held ? 3 : 5;
  let offset = start.offsetPx;
  let blur = start.blurPx;
  const shading = start.held?.shading ?? 0;
  let state = evaluate(profile, offset, blur, shading, free);
  if (!state) return undefined;
  let damping = 1e-3;
  for (let round = 0; round < ROUNDS; round++) {
    const normal = Float64Array.from(state.normal);
    for (let i = 0; i < free; i++) normal[i * free + i]! *= 1 + damping;
    const change = Float64Array.from(state.right);
    if (!solveInPlace(normal, change, free)) return undefined;
    const moved = Math.max(-1, Math.min(1, change[2]!));
    const grown = start.held ? blur : blur * Math.exp(Math.max(-0.4, Math.min(0.4, change[4]! / blur)));
    if (!(grown > LEAST_BLUR_PX && grown < MOST_BLUR_PX)) return undefined;
    const next = evaluate(profile, offset + moved, grown, shading, free);
    if (next && next.chi <= state.chi * (1 + 1e-12)) {
      const done = Math.abs(moved) < 1e-4;
      offset += moved;
      blur = grown;
      state = next;
      damping = Math.max(1e-6, damping / 10);
      if (done) break;
    } else {
      damping *= 10;
      if (damping > 1e4) break;
    }
  }
  return describe(state, offset, blur, shading, free);
}

const ROUNDS = 25;
const LEAST_BLUR_PX = 0.2;
const MOST_BLUR_PX = 30;

interface State {
  readonly normal: Float64Array;
  readonly right: Float64Array;
  readonly chi: number;
  readonly sky: number;
  readonly step: number;
  readonly slope: number;
  readonly freedom: number;
}

/**
 * The levels enter linearly and are solved first (sky, step and, when free, the shading), then the normal equations of
 * all unknowns are set up about them: [sky, step, offset, shading·step, blur].
 */
function evaluate(p: RadialProfile, offset: number, blur: number, shading: number, free: number): State | undefined {
  const linear = free === 3 ? 2 : 3;
  const a = new Float64Array(linear * linear);
  const levels = new Float64Array(linear);
  const row = new Float64Array(5);
  const root = Math.sqrt(blur);
  const n = p.distance.length;
  for (let k = 0; k < n; k++) {
    const t = (offset - p.distance[k]!) / blur;
    const edge = look(EDGE, t);
    const ramp = root * look(RAMP, t);
    row[0] = 1;
    row[1] = linear === 2 ? edge + shading * ramp : edge;
    row[2] = ramp;
    accumulate(a, levels, row, linear, p.value[k]!, p.count[k]!);
  }
  if (!solveInPlace(a, levels, linear)) return undefined;
  const sky = levels[0]!;
  const step = levels[1]!;
  const slope = linear === 2 ? shading * step : levels[2]!;
  const normal = new Float64Array(free * free);
  const right = new Float64Array(free);
  let chi = 0;
  let freedom = -free;
  for (let k = 0; k < n; k++) {
    const t = (offset - p.distance[k]!) / blur;
    const edge = look(EDGE, t);
    const ramp = root * look(RAMP, t);
    const edgeRate = (look(EDGE, t + H) - look(EDGE, t - H)) / (2 * H);
    const rampRate = (root * (look(RAMP, t + H) - look(RAMP, t - H))) / (2 * H);
    const rate = step * edgeRate + slope * rampRate;
    row[0] = 1;
    row[1] = linear === 2 ? edge + shading * ramp : edge;
    row[2] = rate / blur;
    row[3] = ramp;
    row[4] = (-rate * t + 0.5 * slope * ramp) / blur;
    const miss = p.value[k]! - sky - step * edge - slope * ramp;
    accumulate(normal, right, row, free, miss, p.count[k]!);
    chi += p.count[k]! * miss * miss;
    freedom++;
  }
  return { normal, right, chi, sky, step, slope, freedom };
}

function accumulate(a: Float64Array, b: Float64Array, row: Float64Array, n: number, value: number, w: number): void {
  for (let i = 0; i < n; i++) {
    b[i]! += w * row[i]! * value;
    for (let j = 0; j < n; j++) a[i * n + j]! += w * row[i]! * row[j]!;
  }
}

function describe(s: State, offsetPx: number, blurPx: number, shading: number, free: number): StepFit | undefined {
  const unit = new Float64Array(free);
  unit[2] = 1;
  if (!(s.step > 0) || s.freedom < 1 || !solveInPlace(Float64Array.from(s.normal), unit, free)) return undefined;
  return {
    offsetPx,
    variance: (unit[2]! * s.chi) / s.freedom,
    sky: s.sky,
    step: s.step,
    shading: free === 3 ? shading : s.slope / s.step,
    blurPx,
  };
}

/** Half the distance, in sigmas, over which slopes of the tables are taken. */
const H = 0.02;
const SPACING = 0.02;
const REACH = 8;
const SIZE = Math.round((2 * REACH) / SPACING) + 1;
/** A unit step after the blur, by depth in sigmas. */
const EDGE: Float64Array = tabulate(() => 1);
/** √depth, 0 outside, after the blur. */
const RAMP: Float64Array = tabulate(Math.sqrt);

function tabulate(shape: (depth: number) => number): Float64Array {
  const out = new Float64Array(SIZE);
  const fine = 0.01;
  for (let i = 0; i < SIZE; i++) {
    const t = i * SPACING - REACH;
    let sum = 0;
    // In v = √depth the integrand is smooth at the edge: depth = v², d(depth) = 2v dv.
    for (let v = fine / 2; v < 4.2; v += fine) {
      const off = t - v * v;
      sum += 2 * v * shape(v * v) * Math.exp((-off * off) / 2);
    }
    out[i] = (sum * fine) / Math.sqrt(2 * Math.PI);
  }
  return out;
}

function look(table: Float64Array, t: number): number {
  if (t <= -REACH) return 0;
  if (t >= REACH) return table === EDGE ? 1 : Math.sqrt(t) * (1 - 1 / (8 * t * t));
  const at = (t + REACH) / SPACING;
  const i = Math.min(SIZE - 2, Math.floor(at));
  return table[i]! + (at - i) * (table[i + 1]! - table[i]!);
}
