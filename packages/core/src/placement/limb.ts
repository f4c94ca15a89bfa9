import type { Plane } from '../compute/image.js';
import { type Disc, type DiscFit, fitDisc } from './fit-disc.js';
import { seedCircles } from './limb-consensus.js';
import { limbCandidates, surveyOf } from './limb-points.js';
import { gatherProfile, steepest } from './limb-profile.js';
import { fitStep, type RadialProfile, type StepFit } from './step-profile.js';

/** How a limb is looked for. */
export interface FindLimbOptions {
  /** Also fit a vertical stretch, as refraction flattens the disc. Default false: a circle. */
  readonly stretch?: boolean;
}

/** A disc fitted to the lit limb, in px of the plane (integers are pixel centres, x right, y down). */
export interface LimbFit {
  readonly centreX: number;
  readonly centreY: number;
  /** Horizontal radius. */
  readonly radiusPx: number;
  /** Vertical over horizontal diameter; 1 unless it was asked for. */
  readonly stretch: number;
  /**
   * Of (centreX, centreY, radiusPx), and of the stretch as the fourth when asked for: row-major, px². Errors that are
   * alike all along the arc (a wrong law of shading, a shift by the air) are not in it.
   */
  readonly covariance: readonly number[];
  /** Angle of the lit limb that was used, degrees, gaps left out. */
  readonly arcDeg: number;
  /** Places along the limb that were used. */
  readonly points: number;
  /** Of their distances from the fitted edge, px: noise, mountains and seeing. */
  readonly rmsPx: number;
}

/**
 * Finds the lit limb of a disc in linear light and fits a circle, or one stretched vertically, to it. `coverage` is 1
 * where there is data; its edge is never taken for the limb. The disc may be larger than the picture.
 *
 * Edges with even dark sky outside are collected on a shrunken copy, a circle is found by consensus, then blurred steps
 * are fitted to the pixels around it at full resolution, and the disc to those steps. Null when no such circle is found,
 * or when what lies inside it is clipped: a clipped blob is larger than the disc by an unknown glare.
 */
export function findLimb(light: Plane, coverage?: Plane, options: FindLimbOptions = {}): LimbFit | null {
  for (const sidePx of SURVEY_SIDES_PX) {
    const survey = surveyOf(light, coverage, sidePx);
    const { factor } = survey;
    const longest = LONGEST_RADIUS * Math.max(survey.light.width, survey.light.height);
    let best: LimbFit | null = null;
    for (const { disc } of seedCircles(limbCandidates(survey), SEEDS, longest)) {
      const start = {
        centreX: disc.centreX * factor + (factor - 1) / 2,
        centreY: disc.centreY * factor + (factor - 1) / 2,
        radiusPx: disc.radiusPx * factor,
        stretch: 1,
      };
      const fit = refine(light, coverage, start, factor, options.stretch === true);
      if (fit && (!best || fit.arcDeg * fit.radiusPx > best.arcDeg * best.radiusPx)) best = fit;
    }
    if (best) return best;
    if (factor === 1) break;
  }
  return null;
}

/** Longer side of the shrunken copies: the second is for discs that are small in a large picture. */
const SURVEY_SIDES_PX = [640, 1600];
const SEEDS = 3;
/** Longest radius in longer sides of the picture. */
const LONGEST_RADIUS = 12;
const MOST_PLACES = 400;

interface Place {
  readonly angle: number;
  readonly profile: RadialProfile;
  readonly fit: StepFit;
}

function refine(
  light: Plane,
  coverage: Plane | undefined,
  start: Disc,
  factor: number,
  stretch: boolean,
): LimbFit | null {
  let disc = start;
  let reach = Math.max(10, 2.5 * factor + 6);
  let result: { fit: DiscFit; places: Place[]; spacing: number } | undefined;
  for (let round = 0; round < 3; round++) {
    const { places, spacing } = measure(light, coverage, disc, reach, round === 0 ? Math.max(4, factor) : 4);
    if (places.length < LEAST_PLACES) return null;
    const points = places.map(({ angle, fit }) => ({
      x: disc.centreX + (disc.radiusPx + fit.offsetPx) * Math.cos(angle),
      y: disc.centreY + (disc.radiusPx + fit.offsetPx) * disc.stretch * Math.sin(angle),
      variance: fit.variance,
    }));
    const fit = fitDisc(points, disc, { stretch, ordered: true });
    if (!fit) return null;
    disc = fit.disc;
    result = { fit, places, spacing };
    reach = Math.min(reach, Math.max(8, 4 * median(places.map((p) => p.fit.blurPx)) + 4));
  }
  return result ? judge(result.fit, result.places.length, result.spacing) : null;
}

const LEAST_PLACES = 10;
const LEAST_ARC_DEG = 5;
/** Share of the places that must agree with the disc. */
const LEAST_AGREEING = 0.6;

function judge(fit: DiscFit, places: number, spacing: number): LimbFit | null {
  const used = fit.weights.reduce((n, w) => n + (w > 0.1 ? 1 : 0), 0);
  const arcDeg = (used * spacing * 180) / Math.PI;
  if (used < LEAST_PLACES || used < LEAST_AGREEING * places || arcDeg < LEAST_ARC_DEG) return null;
  const { centreX, centreY, radiusPx, stretch } = fit.disc;
  const covariance = Array.from(fit.covariance);
  return { centreX, centreY, radiusPx, stretch, covariance, arcDeg, points: used, rmsPx: fit.rmsPx };
}

/** Steps across the lit limb at evenly spaced places of the circle. `spacing` is the angle between them, radians. */
function measure(
  light: Plane,
  coverage: Plane | undefined,
  disc: Disc,
  reach: number,
  halfPx: number,
): { places: Place[]; spacing: number } {
  const range = visibleArc(light, disc, reach);
  const length = range.extent * disc.radiusPx;
  const count = Math.max(1, Math.min(MOST_PLACES, Math.floor(length / 11)));
  const spacing = range.extent / count;
  const halfLengthPx = Math.max(4, Math.min(15, Math.floor((spacing * disc.radiusPx) / 2)));
  const insidePx = Math.min(reach, disc.radiusPx / 2);
  const places: Place[] = [];
  for (let k = 0; k < count; k++) {
    const angle = range.from + (k + 0.5) * spacing;
    const gathered = gatherProfile(light, coverage, disc, { angle, halfLengthPx, insidePx, outsidePx: reach });
    if (!gathered || gathered.clipped > 0.3) continue;
    const { profile } = gathered;
    const offsetPx = steepest(profile, halfPx);
    if (offsetPx === undefined) continue;
    const fit = fitStep(profile, { offsetPx, blurPx: 1.5 });
    if (fit && Math.abs(fit.offsetPx) < 0.8 * reach) places.push({ angle, profile, fit });
  }
  return { places: settle(lit(places)), spacing };
}

/** Drops places where the step is faint (dark limb, deep shadow) or much more gradual than elsewhere (terminator). */
function lit(places: readonly Place[]): Place[] {
  if (places.length === 0) return [];
  const steps = places.map((p) => p.fit.step).sort((a, b) => a - b);
  const bright = steps[Math.floor(0.75 * steps.length)]!;
  const kept = places.filter((p) => p.fit.step > 0.25 * bright && p.fit.step > 4 * Math.sqrt(levelNoise(p)));
  const blur = median(kept.map((p) => p.fit.blurPx));
  return kept.filter((p) => p.fit.blurPx < 2.2 * blur);
}

/** Variance of the step's level, roughly, from that of its position. */
function levelNoise({ fit }: Place): number {
  return fit.variance * (fit.step / (2.5 * fit.blurPx)) ** 2;
}

/** Fits the steps again with the blur and the shading that neighbouring places agree on, which are noisy singly. */
function settle(places: readonly Place[]): Place[] {
  const blurPx = median(places.map((p) => p.fit.blurPx));
  return places.flatMap((p, k) => {
    const near = places.slice(Math.max(0, k - 7), k + 8).map((n) => n.fit.shading);
    const held = { shading: median(near) };
    const fit = fitStep(p.profile, { offsetPx: p.fit.offsetPx, blurPx, held });
    return fit ? [{ ...p, fit }] : [];
  });
}

/** Angles at which the circle can lie inside the picture; the whole circle when its centre is within reach. */
function visibleArc(light: Plane, disc: Disc, reach: number): { from: number; extent: number } {
  const steps = 4096;
  const inside = (k: number): boolean => {
    const angle = (2 * Math.PI * k) / steps;
    const x = disc.centreX + disc.radiusPx * Math.cos(angle);
    const y = disc.centreY + disc.radiusPx * disc.stretch * Math.sin(angle);
    return x > -reach && y > -reach && x < light.width + reach && y < light.height + reach;
  };
  const seen = Array.from({ length: steps }, (_, k) => inside(k));
  // The longest run of angles out of sight, around the circle, is left out.
  let longest = 0;
  let after = 0;
  let run = 0;
  for (let k = 0; k < 2 * steps; k++) {
    run = seen[k % steps] ? 0 : run + 1;
    if (run > longest && run <= steps) {
      longest = run;
      after = (k + 1) % steps;
    }
  }
  return { from: (2 * Math.PI * after) / steps, extent: (2 * Math.PI * (steps - longest)) / steps };
}

function median(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[Math.floor(sorted.length / 2)] ?? Number.NaN;
}
