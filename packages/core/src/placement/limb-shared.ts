import { quantile } from '../compute/quantile.js';
import { type Disc, type DiscFit, honestFactor, tukey } from './fit-disc.js';
import { type Block, blockOf, marginal, OFFSET, ownParts, PARTS, SHADING } from './limb-blocks.js';
import { type Field, fieldOf, meansAt, sunwardsOf } from './limb-field.js';
import type { Place } from './limb-measure.js';
import { leftover, type Mixed, solveMixed } from './limb-mixed.js';
import { weightedProfiles } from './limb-noise.js';
import { firstSpread, respread, type Spread, waveVariances } from './limb-spread.js';

/** Error that one unknown cause, at one sigma of it, gives to the offset of a place, px outwards. */
export type CommonError = (shading: number, blurPx: number) => number;

/**
 * Fits a disc and the light of all places of its limb together. Sky, step, shading and blur each vary smoothly along the
 * limb and scatter from place to place; how much of both is estimated, so that an even limb is fitted with few unknowns,
 * and a rugged one with its own at each place. A mixed model, linearised where each place's parts are most probable
 * (Lindstrom & Bates 1990). What the edge itself scatters is estimated and weighted as in `fitDisc`. `start` is the disc
 * that the places were measured on; `commonPx` enters the covariance. Undefined when the places do not determine a disc.
 */
export function fitShared(
  places: readonly Place[],
  start: Disc,
  stretch: boolean,
  commonPx: CommonError,
): DiscFit | undefined {
  const discUnknowns = stretch ? 4 : 3;
  let field = fieldOf(places, start, discUnknowns);
  const unit = quantile(
    places.map((p) => p.fit.step),
    0.5,
  );
  const profiles = weightedProfiles(places);
  const parts = places.map((p) => ownParts(p, unit));
  for (const p of parts) p[SHADING] = Math.max(-STEEPEST, Math.min(STEEPEST, p[SHADING]!));
  let sunwards: number | undefined;
  let spread = firstSpread(parts);
  let edges = new Float64Array(places.length).fill(1);
  for (let round = 1; ; round++) {
    const blocks = profiles.map((profile, k) => blockOf(profile, parts[k]!, unit));
    for (let turn = 1; ; turn++) {
      const scatters = places.map((_, k) => scatterAt(spread, k, edges[k]!));
      const mixed = solveMixed(blocks, field, scatters, waveVariances(spread, field));
      if (!mixed) return undefined;
      const seen = lookAtEdges(blocks, field, spread, mixed.solution, discUnknowns);
      if (turn === TURNS && round === ROUNDS) return finish(start, mixed, seen, field, discUnknowns, commonPx);
      edges = seen.total.map((v, k) => v / Math.max(LEAST_TRUST, seen.trust[k]!) - seen.own[k]!);
      spread = respread(spread, mixed, field);
      if (turn < TURNS) continue;
      if (round === SHAPED_ROUND && !stretch) sunwards = sunwardsOf(field, mixed);
      for (let k = 0; k < places.length; k++)
        moveTo(parts[k]!, meansAt(field, k, mixed.solution), mixed.leftovers[k]!, scatters[k]!);
      break;
    }
    if (round === SHAPED_ROUND) field = fieldOf(places, start, discUnknowns, sunwards);
  }
}

const ROUNDS = 5;
const TURNS = 5;
/** After this round the shading is given its shape; not with a stretch, which is told by the same slow waves. */
const SHAPED_ROUND = 2;
/** How far a part of a place may move in a round. */
const MOST_STEP = 0.5;
/** Limit of the shading of a place, px^−½. */
const STEEPEST = 1;
const LEAST_TRUST = 1e-6;

/** Variances of the parts of place k about their means, that of the offset given. */
function scatterAt(spread: Spread, k: number, edge: number): Float64Array {
  return spread.scatter.map((v, part) => (part === OFFSET ? edge : v * spread.tails[k]![part]!));
}

/** Moves the parts of a place towards their most probable values. */
function moveTo(parts: Float64Array, mean: Float64Array, left: Float64Array, scatter: Float64Array): void {
  for (let j = 0; j < PARTS; j++) {
    const change = mean[j]! + left[j]! * scatter[j]! - parts[j]!;
    parts[j]! += Math.max(-MOST_STEP, Math.min(MOST_STEP, change));
  }
  parts[SHADING] = Math.max(-STEEPEST, Math.min(STEEPEST, parts[SHADING]!));
}

interface Seen {
  readonly residuals: Float64Array;
  /** Variance of each from the pixels, and with what the edge scatters. */
  readonly own: Float64Array;
  readonly total: Float64Array;
  readonly trust: Float64Array;
}

/** Where each place sees the edge, the rest being as along the limb, and how far it is believed. */
function lookAtEdges(
  blocks: readonly Block[],
  field: Field,
  spread: Spread,
  solution: Float64Array,
  discUnknowns: number,
): Seen {
  const own = new Float64Array(blocks.length);
  const residuals = new Float64Array(blocks.length);
  blocks.forEach((block, k) => {
    const m = marginal(block, scatterAt(spread, k, 0));
    const information = m.information[OFFSET * PARTS + OFFSET]!;
    own[k] = 1 / information;
    residuals[k] = leftover(m, meansAt(field, k, solution))[OFFSET]! / information;
  });
  return { residuals, own, ...tukey(residuals, own, discUnknowns) };
}

function finish(
  start: Disc,
  mixed: Mixed,
  seen: Seen,
  field: Field,
  unknowns: number,
  commonPx: CommonError,
): DiscFit | undefined {
  const { solution, covariance, marginals } = mixed;
  const n = field.unknowns;
  const precision = seen.total.map((v) => 1 / v);
  const factor = honestFactor(seen.residuals, seen.trust, precision, unknowns, true);
  if (factor === undefined) return undefined;
  const blurPx = Math.exp(solution[field.start[4]!]!);
  const pull = new Float64Array(n);
  marginals.forEach((m, k) => {
    const error = commonPx(meansAt(field, k, solution)[3]!, blurPx);
    for (let i = 0; i < PARTS; i++) {
      field.rows[k]![i]!.forEach((v, u) => {
        pull[field.start[i]! + u]! += v * m.information[i * PARTS + OFFSET]! * error;
      });
    }
  });
  const scale = [1, 1, 1, 1 / start.radiusPx];
  const shift = Float64Array.from({ length: unknowns }, (_, i) =>
    pull.reduce((sum, v, j) => sum + covariance[i * n + j]! * v, 0),
  );
  const out = new Float64Array(unknowns * unknowns);
  for (let i = 0; i < unknowns; i++) {
    for (let j = 0; j < unknowns; j++) {
      out[i * unknowns + j] = (covariance[i * n + j]! * factor.factor + shift[i]! * shift[j]!) * scale[i]! * scale[j]!;
    }
  }
  const disc = {
    centreX: start.centreX + solution[0]!,
    centreY: start.centreY + solution[1]!,
    // Blur moves the half-level of a round edge inwards by σ²/2R.
    radiusPx: start.radiusPx + solution[2]! + blurPx ** 2 / (2 * start.radiusPx),
    stretch: start.stretch + (unknowns === 4 ? solution[3]! * scale[3]! : 0),
  };
  return { disc, covariance: out, residuals: seen.residuals, weights: seen.trust, rmsPx: factor.rmsPx };
}
