import type { Plane } from '../compute/image.js';
import { quantile } from '../compute/quantile.js';
import { type Disc, type DiscFit, type EdgePoint, fitDisc } from './fit-disc.js';
import { seedCircles } from './limb-consensus.js';
import { type Measured, measureLimb, type Place, settle } from './limb-measure.js';
import { limbCandidates, nothingOutside, surveyOf } from './limb-points.js';
import { fitShared } from './limb-shared.js';

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
   * Of (centreX, centreY, radiusPx), and of the stretch as the fourth when asked for: row-major, px². From the
   * scatter of the places along the limb and the correlation of neighbours, plus a doubt about the law of shading. A
   * shift or growth of the whole arc by the air does not show in the scatter.
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
 * are fitted to the pixels around it at full resolution, and the disc to those steps; at last disc and steps together.
 * On an even limb that reaches the Cramér–Rao bound. Null when no such circle is found, or when what lies inside it is
 * clipped: a clipped blob is larger than the disc by an unknown glare.
 */
export function findLimb(light: Plane, coverage?: Plane, options: FindLimbOptions = {}): LimbFit | null {
  for (const sidePx of SURVEY_SIDES_PX) {
    const survey = surveyOf(light, coverage, sidePx);
    let best: LimbFit | null = null;
    let bestSupport = 0;
    const longest = LONGEST_RADIUS * Math.max(survey.light.width, survey.light.height);
    for (const { disc, support } of seedCircles(limbCandidates(survey), SEEDS, longest)) {
      if (support < RIVAL * bestSupport) continue;
      const fit = refine(light, coverage, enlarged(disc, survey.factor), survey.factor, options.stretch === true);
      if (!fit || !nothingOutside(survey, fit)) continue;
      if (best && best.arcDeg * best.radiusPx >= fit.arcDeg * fit.radiusPx) continue;
      best = fit;
      bestSupport = support;
    }
    if (best) return best;
    if (survey.factor === 1) break;
  }
  return null;
}

/** Longer side of the shrunken copies: the second is for discs that are small in a large picture. */
const SURVEY_SIDES_PX = [640, 1600];
const SEEDS = 3;
/** A circle with less than this share of the support of one that proved to be a limb is not looked at. */
const RIVAL = 0.4;
/** Longest radius in longer sides of the picture. */
const LONGEST_RADIUS = 12;

/** A disc of the survey in px of the picture. */
function enlarged(disc: Disc, factor: number): Disc {
  const middle = (factor - 1) / 2;
  const centreX = disc.centreX * factor + middle;
  const centreY = disc.centreY * factor + middle;
  return { centreX, centreY, radiusPx: disc.radiusPx * factor, stretch: 1 };
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
  for (let round = 0; round < ROUNDS; round++) {
    const preparing = round < ROUNDS - 1;
    const measured = measureLimb(light, coverage, disc, reach, preparing);
    if (measured.places.length < LEAST_PLACES) return null;
    if (!preparing) {
      const fit = fitShared(measured.places, disc, stretch, lawDoubt);
      return fit ? judge(fit, measured) : null;
    }
    const places = settle(measured.places);
    if (places.length < LEAST_PLACES) return null;
    const start = disc;
    const fit = fitDisc(
      places.map((place) => edgePoint(start, place)),
      disc,
      { stretch, ordered: true },
    );
    if (!fit) return null;
    disc = fit.disc;
    const blurPx = quantile(
      places.map((p) => p.fit.blurPx),
      0.5,
    );
    reach = Math.min(reach, Math.max(8, 4 * blurPx + 3));
    if (!judge(fit, { ...measured, places })) return null;
  }
  return null;
}

/** Blur moves the half-level of a round edge inwards by σ²/2R. */
function edgePoint(disc: Disc, { angle, fit }: Place): EdgePoint {
  const radius = disc.radiusPx + fit.offsetPx + fit.blurPx ** 2 / (2 * disc.radiusPx);
  return {
    x: disc.centreX + radius * Math.cos(angle),
    y: disc.centreY + radius * disc.stretch * Math.sin(angle),
    variance: fit.variance,
    commonPx: lawDoubt(fit.shading, fit.blurPx),
  };
}

/**
 * The law of scattering is not known exactly: that shifts the edge by about this share of the change of light over the
 * blur (Lommel–Seeliger at phase angles of 40 to 90 degrees), in blur widths.
 */
const LAW_DOUBT = 0.1;

/** Error of the offset of every place at one sigma of the doubt, px. */
function lawDoubt(shading: number, blurPx: number): number {
  return LAW_DOUBT * shading * blurPx ** 1.5;
}

const ROUNDS = 3;
const LEAST_PLACES = 10;
const LEAST_ARC_DEG = 8;
/** Share of the places along the arc at which the limb must be seen and agree with the disc. */
const LEAST_AGREEING = 0.6;

/** Refuses a disc whose points are few, scattered or apart. */
function judge(fit: DiscFit, { places, tried, spacing }: Measured): LimbFit | null {
  const used = places.filter((_, k) => fit.weights[k]! > 0.1);
  const arcDeg = (used.length * spacing * 180) / Math.PI;
  if (used.length < LEAST_PLACES || arcDeg < LEAST_ARC_DEG) return null;
  const within = triedAlong(used, tried, Math.round((2 * Math.PI) / spacing));
  if ((1 - 2 * STRAY) * used.length < LEAST_AGREEING * within) return null;
  const { centreX, centreY, radiusPx, stretch } = fit.disc;
  const covariance = Array.from(fit.covariance);
  return { centreX, centreY, radiusPx, stretch, covariance, arcDeg, points: used.length, rmsPx: fit.rmsPx };
}

/** Number of tried places along the arc that holds the used ones, a few stray ones at its ends left out. */
function triedAlong(used: readonly Place[], tried: readonly number[], around: number): number {
  let start = 0;
  let widest = 0;
  used.forEach((p, k) => {
    const before = k === 0 ? used[used.length - 1]!.index - around : used[k - 1]!.index;
    if (p.index - before <= widest) return;
    widest = p.index - before;
    start = p.index;
  });
  const along = (index: number): number => (index - start + around) % around;
  const order = used.map((p) => along(p.index)).sort((a, b) => a - b);
  const first = order[Math.floor(STRAY * order.length)]!;
  const last = order[Math.ceil((1 - STRAY) * order.length) - 1]!;
  return tried.filter((index) => along(index) >= first && along(index) <= last).length;
}

/** Share of the used places that may be stray at either end. */
const STRAY = 0.05;
