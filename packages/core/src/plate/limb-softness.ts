import { luminance } from '../compute/image.js';
import { quantile } from '../compute/quantile.js';
import { cubicAt } from '../compute/sample.js';
import { edgeAt, gaugeOf, type LimbEllipse } from './limb-ellipse.js';
import type { PlateSource } from './plate-source.js';

/** How the disc's edge looks on the plate. */
export interface LimbSoftness {
  /** Spread of the edge: it rises as the integral of a Gaussian of this standard deviation, px. */
  readonly sigmaPx: number;
  /** Where its half level lies, px outside the ellipse. */
  readonly offsetPx: number;
  /** Robust standard deviation of that place along the limb: mountains and air, px. */
  readonly roughnessPx: number;
  /** Places along the lit limb that were measured. */
  readonly places: number;
}

/** Places that are tried around the disc. */
const PLACES = 720;
/** What is looked at to either side of the edge: at least, and as a share of the disc's radius. */
const REACH_PX = 24;
const REACH_SHARE = 0.006;
/** Between samples across the edge, px. */
const STEP_PX = 0.5;
/** Samples along the edge that are averaged, px away. */
const ALONG_PX = [-2, -1, 0, 1, 2] as const;
/** A limb counts as lit where its step is at least this share of the higher ones. */
const LIT_SHARE = 0.3;
/** Step over the noise beside it, at least. */
const LEAST_CONTRAST = 8;
const LEAST_PLACES = 12;
/** Between the quarters of a Gaussian's integral lie this many standard deviations. */
const QUARTERS_SIGMA = 1.349;
const MAD_TO_SIGMA = 1.4826;
/** A pixel alone is as wide as this: the root of 1/12. */
const LEAST_SIGMA_PX = 0.29;

/**
 * Measures the edge of the lit limb: across it, at many places, the levels of sky and ground beside it, and where the
 * light passes a quarter, a half and three quarters of the way between them; medians over the places. Null where the lit
 * limb shows too little: no limb is lit, or it lies outside what is covered.
 */
export function measureSoftness(source: PlateSource, ellipse: LimbEllipse): LimbSoftness | null {
  const reach = Math.ceil(REACH_PX + REACH_SHARE * Math.max(ellipse.aPx, ellipse.bPx));
  const profiles = Array.from({ length: PLACES }, (_, k) =>
    profileAt(source, ellipse, (2 * Math.PI * k) / PLACES, reach),
  );
  const steps = profiles.flatMap((profile) => (profile ? (stepIn(profile) ?? []) : []));
  if (steps.length < LEAST_PLACES) return null;
  const bright = quantile(
    steps.map((step) => step.height),
    0.9,
  );
  const lit = steps.filter((step) => step.height >= LIT_SHARE * bright);
  if (lit.length < LEAST_PLACES) return null;
  const offsets = lit.map((step) => step.offsetPx);
  const offsetPx = quantile(offsets, 0.5);
  const spread = quantile(
    offsets.map((offset) => Math.abs(offset - offsetPx)),
    0.5,
  );
  const sigma = quantile(
    lit.map((step) => step.widthPx / QUARTERS_SIGMA),
    0.5,
  );
  return {
    sigmaPx: Math.max(LEAST_SIGMA_PX, sigma),
    offsetPx,
    roughnessPx: MAD_TO_SIGMA * spread,
    places: lit.length,
  };
}

/** Light across the edge, from the outside inwards. Undefined where it is not covered. */
function profileAt(
  source: PlateSource,
  ellipse: LimbEllipse,
  angle: number,
  reach: number,
): readonly number[] | undefined {
  const { x, y } = edgeAt(ellipse, angle);
  const half = reach + 4;
  const [x0, y0] = [Math.round(x) - half, Math.round(y) - half];
  const side = 2 * half + 1;
  if (x0 < 0 || y0 < 0 || x0 + side > source.width || y0 + side > source.height) return undefined;
  const { image, coverage } = source.read({ x0, y0, width: side, height: side });
  const { data } = luminance(image);
  const { normalX, normalY } = gaugeOf(ellipse).place(x, y);
  const out: number[] = [];
  for (let d = reach; d >= -reach; d -= STEP_PX) {
    let sum = 0;
    for (const t of ALONG_PX) {
      const [px, py] = [x - x0 + d * normalX - t * normalY, y - y0 + d * normalY + t * normalX];
      if (!(coverage.data[Math.round(py) * side + Math.round(px)]! >= 1)) return undefined;
      sum += cubicAt(data, side, side, px, py);
    }
    out.push(sum / ALONG_PX.length);
  }
  return out;
}

interface Step {
  readonly offsetPx: number;
  readonly widthPx: number;
  readonly height: number;
}

/** Twice: with the levels of everything outside and inside, then with those right beside the step. */
function stepIn(profile: readonly number[]): Step | undefined {
  const { length } = profile;
  const outside = profile.slice(0, Math.floor(length / 3));
  const inside = profile.slice(Math.ceil((2 * length) / 3));
  const first = crossings(profile, quantile(outside, 0.5), quantile(inside, 0.5));
  if (!first) return undefined;
  const [quarter, half, threeQuarters] = first;
  const clear = (3.2 * (threeQuarters - quarter)) / QUARTERS_SIGMA + 2;
  const wide = 8;
  const before = profile.slice(Math.max(0, Math.floor(half - clear - 2 * wide)), Math.max(0, Math.floor(half - clear)));
  const after = profile.slice(Math.ceil(half + clear), Math.ceil(half + clear) + wide);
  if (before.length < wide || after.length < wide) return undefined;
  const [sky, ground] = [quantile(before, 0.5), quantile(after, 0.5)];
  const noise =
    MAD_TO_SIGMA *
    quantile(
      before.map((v) => Math.abs(v - sky)),
      0.5,
    );
  if (!(ground - sky > LEAST_CONTRAST * noise) || !(ground > sky)) return undefined;
  const second = crossings(profile, sky, ground);
  if (!second) return undefined;
  const middle = (length - 1) / 2;
  return {
    offsetPx: (middle - second[1]) * STEP_PX,
    widthPx: (second[2] - second[0]) * STEP_PX,
    height: ground - sky,
  };
}

/** Places in the profile, in samples, at which the light first passes a quarter, a half and three quarters of the step. */
function crossings(profile: readonly number[], sky: number, ground: number): [number, number, number] | undefined {
  if (!(ground > sky)) return undefined;
  const [a, b, c] = [0.25, 0.5, 0.75].map((share) => {
    const level = sky + share * (ground - sky);
    const at = profile.findIndex((value, i) => i > 0 && value >= level && profile[i - 1]! < level);
    return at < 0 ? undefined : at - (profile[at]! - level) / (profile[at]! - profile[at - 1]!);
  });
  return a !== undefined && b !== undefined && c !== undefined && a <= b && b <= c ? [a, b, c] : undefined;
}
