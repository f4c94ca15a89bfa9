import { solveInPlace } from '../compute/small-solve.js';
import { shadedStep } from './shaded-step.js';

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
  /** Variance of one pixel about the fit, squared light. */
  readonly noise: number;
  /** Light outside. */
  readonly sky: number;
  /** Light just inside the edge, above the sky. */
  readonly step: number;
  /** Shading κ inside, px^−½: light is sky + step / (1 + κ·√depth), or sky + step·(1 − κ·√depth) where κ < 0. */
  readonly shading: number;
  /** Sigma of the Gaussian that stands for blur and pixel, px. */
  readonly blurPx: number;
}

/** What is known before the fit. */
export interface StepStart {
  readonly offsetPx: number;
  readonly blurPx: number;
  readonly shading: number;
  /** Keep the blur as it is. */
  readonly holdBlur?: boolean;
}

/**
 * Fits a step, blurred by a Gaussian, to a profile across the limb of a sphere. There the cosine μ of emission is
 * √(2·depth/R), and light follows it at once: a bright rim as 1 / (1 + μ/μ₀) (Lommel–Seeliger), a dark one linearly (the
 * Sun). A plain half-level crossing would be off by the shading within the blur, and a straight line of shading too.
 * Gauss–Newton with damping. Undefined when the profile has no rising edge.
 */
export function fitStep(profile: RadialProfile, start: StepStart): StepFit | undefined {
  const free = start.holdBlur ? 4 : 5;
  let at = { offset: start.offsetPx, shading: start.shading, blur: start.blurPx };
  let state = evaluate(profile, at, free);
  if (!state) return undefined;
  let damping = 1e-3;
  for (let round = 0; round < ROUNDS && damping < 1e4; round++) {
    const normal = Float64Array.from(state.normal);
    for (let i = 0; i < free; i++) normal[i * free + i]! *= 1 + damping;
    const change = Float64Array.from(state.right);
    if (!solveInPlace(normal, change, free)) return undefined;
    const moved = {
      offset: at.offset + limited(change[2]!, 1),
      shading: limited(at.shading + limited(change[3]!, 0.3), MOST_SHADING),
      blur: free === 4 ? at.blur : at.blur * Math.exp(limited(change[4]! / at.blur, 0.4)),
    };
    if (!(moved.blur > LEAST_BLUR_PX && moved.blur < MOST_BLUR_PX)) return undefined;
    const next = evaluate(profile, moved, free);
    if (next && next.chi <= state.chi * (1 + 1e-12)) {
      const done = Math.abs(moved.offset - at.offset) < 1e-4 && Math.abs(moved.shading - at.shading) < 1e-4;
      at = moved;
      state = next;
      damping /= 10;
      if (done) break;
    } else {
      damping *= 10;
    }
  }
  return describe(state, at, free);
}

/** Where a step lies, its shading κ, and its blur, as in {@link StepFit}. */
export interface Shape {
  readonly offset: number;
  readonly shading: number;
  readonly blur: number;
}

/** All that a blurred step is made of. */
export interface BlurredStep extends Shape {
  readonly sky: number;
  readonly step: number;
}

/** The least-squares equations of one Gauss–Newton step. */
export interface StepEquations {
  /** JᵀWJ, row-major, its lower half. */
  readonly normal: Float64Array;
  /** JᵀW times the misses. */
  readonly right: Float64Array;
  /** Sum of the squared misses. */
  readonly chi: number;
}

/**
 * Sets up the equations of the first `free` of [sky, step, offset, shading, blur] for a profile; each pixel weighs 1.
 * `shapes` may hold what {@link shadedStep} gives for its bins.
 */
export function linearised(
  p: RadialProfile,
  at: BlurredStep,
  free: number,
  shapes: Float64Array = unitSteps(p, at),
): StepEquations {
  const { sky, step, offset, shading, blur } = at;
  const root = Math.sqrt(blur);
  const normal = new Float64Array(free * free);
  const right = new Float64Array(free);
  const row = new Float64Array(5);
  row[0] = 1;
  let chi = 0;
  for (let k = 0; k < p.distance.length; k++) {
    const t = (offset - p.distance[k]!) / blur;
    const perSigma = step * shapes[3 * k + 1]!;
    const perShading = step * shapes[3 * k + 2]! * root;
    row[1] = shapes[3 * k]!;
    row[2] = perSigma / blur;
    row[3] = perShading;
    row[4] = (0.5 * shading * perShading - perSigma * t) / blur;
    const miss = p.value[k]! - sky - step * row[1]!;
    accumulate(normal, right, row, free, miss, p.count[k]!);
    chi += p.count[k]! * miss * miss;
  }
  return { normal, right, chi };
}

const ROUNDS = 25;
const LEAST_BLUR_PX = 0.2;
const MOST_BLUR_PX = 30;
const MOST_SHADING = 2;

interface State extends StepEquations {
  readonly sky: number;
  readonly step: number;
  readonly freedom: number;
}

function limited(value: number, most: number): number {
  return Math.max(-most, Math.min(most, value));
}

/** Solves the levels, which enter linearly, and sets up the equations of [sky, step, offset, shading, blur]. */
function evaluate(p: RadialProfile, { offset, shading, blur }: Shape, free: number): State | undefined {
  const n = p.distance.length;
  const levels = new Float64Array(2);
  const a = new Float64Array(4);
  const shapes = unitSteps(p, { offset, shading, blur });
  const row = new Float64Array(2);
  row[0] = 1;
  for (let k = 0; k < n; k++) {
    row[1] = shapes[3 * k]!;
    accumulate(a, levels, row, 2, p.value[k]!, p.count[k]!);
  }
  if (!solveInPlace(a, levels, 2)) return undefined;
  const [sky, step] = [levels[0]!, levels[1]!];
  return { ...linearised(p, { sky, step, offset, shading, blur }, free, shapes), sky, step, freedom: n - free };
}

/** For each bin what {@link shadedStep} gives: the unit step and its derivatives. */
export function unitSteps(p: RadialProfile, { offset, shading, blur }: Shape): Float64Array {
  const shapes = new Float64Array(3 * p.distance.length);
  const perSigma = shading * Math.sqrt(blur);
  for (let k = 0; k < p.distance.length; k++) shadedStep(shapes, 3 * k, (offset - p.distance[k]!) / blur, perSigma);
  return shapes;
}

function accumulate(a: Float64Array, b: Float64Array, row: Float64Array, n: number, value: number, w: number): void {
  for (let i = 0; i < n; i++) {
    const weighted = w * row[i]!;
    b[i]! += weighted * value;
    for (let j = 0; j <= i; j++) a[i * n + j]! += weighted * row[j]!;
  }
}

function describe(s: State, { offset, shading, blur }: Shape, free: number): StepFit | undefined {
  const unit = new Float64Array(free);
  unit[2] = 1;
  if (!(s.step > 0) || s.freedom < 1 || !solveInPlace(Float64Array.from(s.normal), unit, free)) return undefined;
  const noise = s.chi / s.freedom;
  return { offsetPx: offset, variance: unit[2]! * noise, noise, sky: s.sky, step: s.step, shading, blurPx: blur };
}
