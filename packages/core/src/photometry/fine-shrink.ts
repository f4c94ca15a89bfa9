import { binPlane } from '../compute/downsample.js';
import { gaussianBlur } from '../compute/gaussian.js';
import { createPlane, type Plane } from '../compute/image.js';

/** An estimate of a field and how much is known of it: value × weight, and weight (inverse variance). */
export interface WeighedField {
  readonly sum: Plane;
  readonly weight: Plane;
}

/** Noise counts so many times: a window that holds noise alone stays below it. */
const CAUTION = 3;
/** Windows in which the powers of signal and noise are told apart, σ in px of the band. */
const SIGNAL_WINDOW_PX = 1.5;
const NOISE_WINDOW_PX = 3;
/** In bands from this on both estimates share errors of so much, which their difference does not show. */
const COMMON_FROM_PX = 8;
const COMMON_SPREAD = 0.0003;
/** What is known beforehand of any px against the next coarser band: it differs by no more than so, natural log. */
const PRIOR_SPREAD = 0.03;
/** Bands as coarse as this share of the frame's shorter side are left out: the smooth pattern has them. */
const COARSEST_SHARE = 1 / 6;

/**
 * Keeps of a field what two independent estimates of it agree on, band by band (octaves) and place by place: Wiener's
 * weight, with the power of the noise taken from where the two differ. What is not known is 0.
 */
export function keepSignificant(a: WeighedField, b: WeighedField): Plane {
  const { width, height } = a.sum;
  const both = { sum: plus(a.sum, b.sum), weight: plus(a.weight, b.weight) };
  const levels = Math.max(1, Math.round(Math.log2(Math.min(width, height) * COARSEST_SHARE)));
  const bands = [a, b, both].map((field) => bandsOf(field, levels));
  let kept: Plane | undefined;
  for (let level = levels - 1; level >= 0; level--) {
    const [p, q, mean] = bands.map((band) => band[level]!) as [Plane, Plane, Plane];
    const noise = gaussianBlur(
      product(p, q, (u, v) => ((u - v) / 2) ** 2),
      NOISE_WINDOW_PX,
    );
    const power = gaussianBlur(
      product(mean, mean, (u) => u * u),
      SIGNAL_WINDOW_PX,
    );
    const common = 2 ** level >= COMMON_FROM_PX ? COMMON_SPREAD ** 2 : 0;
    const finer = kept ? enlarge(kept, mean.width, mean.height) : createPlane(mean.width, mean.height);
    for (let i = 0; i < finer.data.length; i++) {
      const doubt = (CAUTION * (noise.data[i]! + common)) / Math.max(power.data[i]!, 1e-20);
      if (doubt < 1) finer.data[i]! += (1 - doubt * doubt) * mean.data[i]!;
    }
    kept = finer;
  }
  return kept!;
}

/** Differences between each scale and the next coarser one, the finest first. */
function bandsOf(field: WeighedField, levels: number): Plane[] {
  const scales = [field];
  for (let level = 0; level < levels; level++) {
    const { sum, weight } = scales[level]!;
    scales.push({ sum: binPlane(sum, 2), weight: binPlane(weight, 2) });
  }
  const bands: Plane[] = [];
  const prior = 1 / (PRIOR_SPREAD * PRIOR_SPREAD);
  let coarser: Plane | undefined;
  for (let level = levels; level >= 0; level--) {
    const { sum, weight } = scales[level]!;
    const base = coarser ? enlarge(coarser, sum.width, sum.height) : createPlane(sum.width, sum.height);
    const band = createPlane(sum.width, sum.height);
    for (let i = 0; i < band.data.length; i++) {
      band.data[i] = (sum.data[i]! - weight.data[i]! * base.data[i]!) / (weight.data[i]! + prior);
      base.data[i]! += band.data[i]!;
    }
    if (level < levels) bands.unshift(band);
    coarser = base;
  }
  return bands;
}

/** Twice as large, linear in between: each px is three quarters of the one that it lies in and a quarter of the next. */
function enlarge(plane: Plane, width: number, height: number): Plane {
  const out = createPlane(width, height);
  const row = new Float32Array(plane.width);
  for (let y = 0; y < height; y++) {
    const near = Math.min(y >> 1, plane.height - 1) * plane.width;
    const far = Math.min(Math.max((y >> 1) + (y % 2 === 0 ? -1 : 1), 0), plane.height - 1) * plane.width;
    for (let x = 0; x < row.length; x++) row[x] = 0.75 * plane.data[near + x]! + 0.25 * plane.data[far + x]!;
    const last = row.length - 1;
    for (let x = 0, i = y * width; x < width; x++, i++) {
      const k = Math.min(x >> 1, last);
      const next = x % 2 === 0 ? Math.max(k - 1, 0) : Math.min(k + 1, last);
      out.data[i] = 0.75 * row[k]! + 0.25 * row[next]!;
    }
  }
  return out;
}

function plus(a: Plane, b: Plane): Plane {
  return product(a, b, (u, v) => u + v);
}

function product(a: Plane, b: Plane, of: (u: number, v: number) => number): Plane {
  const out = createPlane(a.width, a.height);
  for (let i = 0; i < out.data.length; i++) out.data[i] = of(a.data[i]!, b.data[i]!);
  return out;
}
