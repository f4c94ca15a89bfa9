import { DESCRIPTOR_LENGTH, type Descriptor, dotAt } from '../compute/descriptor.js';
import { fitSimilarity, type PointPair, type Similarity, similarityResidual } from '../compute/similarity.js';

/** Turns and scales that are looked at. */
export interface SearchRanges {
  /** Least and largest turn of the moving picture, degrees, x towards y, within −360..360; or any. */
  readonly rotationDeg: readonly [number, number] | 'any';
  /** Least and largest scale, fixed px per moving px. */
  readonly scale: readonly [number, number];
}

/** A feature of the moving picture (from) with the one of the fixed picture (to) that looks most like it. */
export interface FeaturePair extends PointPair {
  /** What the two say about the pose by themselves. */
  readonly logScale: number;
  readonly turnRad: number;
  /** Distance to the best over that to the second best: the less, the surer. */
  readonly ratio: number;
}

/** A pose that several pairs agree on. */
export interface Vote {
  /** Moving px -> fixed px. */
  readonly map: Similarity;
  /** How much the pairs that agree weigh: each place counts by 1 − (its surest pair's ratio)². */
  readonly weight: number;
}

/** Sizes of single features may be off by this factor beyond the range of scales. */
const SIZE_SLACK = 1.6;
/** Pairs no surer than this are not taken. */
const MOST_RATIO = 0.92;
/** A fit that is to be drawn in yet may lie this far outside the ranges. */
const POSE_SLACK = 1.05;
const POSE_SLACK_RAD = 0.05;
/** Agreement with a single pair: turn (rad), log scale, and place, which grows with the distance from it. */
const SEED_TURN_RAD = 0.35;
const SEED_LOG_SCALE = 0.35;
const SEED_REACH = 0.2;
/** A similarity needs two different places; whether it holds is for the pictures to say. */
const LEAST_PLACES = 2;
/** Rounds of shrinking the tolerance. */
const ROUNDS = 6;
const ROUNDING = 1e-6;

/**
 * For every feature of the moving picture the most alike of the fixed picture, among those whose size fits the range of
 * scales. Features sorted by size, as {@link prepareSearchPicture} gives them.
 */
export function pairFeatures(
  fixed: readonly Descriptor[],
  moving: readonly Descriptor[],
  ranges: SearchRanges,
): FeaturePair[] {
  const all = new Float32Array(fixed.length * DESCRIPTOR_LENGTH);
  for (const [i, d] of fixed.entries()) all.set(d.values, i * DESCRIPTOR_LENGTH);
  const pairs: FeaturePair[] = [];
  const dots = new Float32Array(fixed.length);
  let first = 0;
  let end = 0;
  for (const from of moving) {
    while (first < fixed.length && fixed[first]!.sigmaPx < (from.sigmaPx * ranges.scale[0]) / SIZE_SLACK) first++;
    while (end < fixed.length && fixed[end]!.sigmaPx <= from.sigmaPx * ranges.scale[1] * SIZE_SLACK) end++;
    const found = mostAlike(from, fixed, all, dots, first, end);
    if (!found || found.ratio > MOST_RATIO) continue;
    const turnRad = normalTurn(found.to.angleRad - from.angleRad);
    if (!isTurnWithin(turnRad, ranges.rotationDeg, SEED_TURN_RAD)) continue;
    pairs.push({
      fromX: from.x,
      fromY: from.y,
      toX: found.to.x,
      toY: found.to.y,
      logScale: Math.log(found.to.sigmaPx / from.sigmaPx),
      turnRad,
      ratio: found.ratio,
    });
  }
  return pairs;
}

/** Whether a turn lies in the range, widened on both sides; whole turns do not count. */
export function isTurnWithin(turnRad: number, range: SearchRanges['rotationDeg'], slackRad: number): boolean {
  if (range === 'any') return true;
  const middle = ((range[0] + range[1]) * Math.PI) / 360;
  const half = ((range[1] - range[0]) * Math.PI) / 360;
  return Math.abs(normalTurn(turnRad - middle)) <= half + slackRad;
}

/**
 * Poses that pairs agree on, weightiest first. Every pair states a whole pose by its place, size and direction, and
 * gathers the pairs that agree with it loosely; a least-squares fit to them is drawn in round by round to `tolerancePx`
 * (px of the fixed picture). So few right pairs among many wrong ones are found, without random trials, and a collapse
 * of the scale, which agrees with no pair's own size, is not.
 */
export function votes(pairs: readonly FeaturePair[], ranges: SearchRanges, tolerancePx: number): Vote[] {
  const found: Vote[] = [];
  const taken = new Set<number>();
  const order = [...pairs.keys()].sort((i, j) => pairs[i]!.ratio - pairs[j]!.ratio);
  for (const seed of order) {
    if (taken.has(seed)) continue;
    const fit = drawIn(pairs, agreeingWith(pairs, pairs[seed]!, tolerancePx), tolerancePx);
    if (!fit || !isPoseWithin(fit.map, ranges)) continue;
    for (const i of fit.inliers) taken.add(i);
    found.push({ map: fit.map, weight: fit.weight });
  }
  return found.sort((a, b) => b.weight - a.weight);
}

function mostAlike(
  from: Descriptor,
  fixed: readonly Descriptor[],
  all: Float32Array,
  dots: Float32Array,
  first: number,
  end: number,
): { readonly to: Descriptor; readonly ratio: number } | undefined {
  let best = first;
  for (let i = first; i < end; i++) {
    dots[i] = dotAt(from.values, all, i * DESCRIPTOR_LENGTH);
    if (dots[i]! > dots[best]!) best = i;
  }
  if (best >= end) return undefined;
  const to = fixed[best]!;
  let secondDot = 0;
  for (let i = first; i < end; i++) {
    if (dots[i]! <= secondDot) continue;
    // The same place under its second direction or its next size is no rival.
    if (Math.abs(fixed[i]!.x - to.x) + Math.abs(fixed[i]!.y - to.y) >= to.sigmaPx) secondDot = dots[i]!;
  }
  // Squared distance of unit vectors: 2 − 2·dot, here with the rounding of the dot products: equals are no match.
  return { to, ratio: Math.sqrt((Math.max(0, 1 - dots[best]!) + ROUNDING) / (Math.max(0, 1 - secondDot) + ROUNDING)) };
}

function agreeingWith(pairs: readonly FeaturePair[], seed: FeaturePair, tolerancePx: number): number[] {
  const scale = Math.exp(seed.logScale);
  const a = scale * Math.cos(seed.turnRad);
  const b = scale * Math.sin(seed.turnRad);
  const agreeing: number[] = [];
  for (let i = 0; i < pairs.length; i++) {
    const p = pairs[i]!;
    if (Math.abs(p.logScale - seed.logScale) > SEED_LOG_SCALE) continue;
    if (Math.abs(normalTurn(p.turnRad - seed.turnRad)) > SEED_TURN_RAD) continue;
    const dx = p.fromX - seed.fromX;
    const dy = p.fromY - seed.fromY;
    const missX = seed.toX + a * dx - b * dy - p.toX;
    const missY = seed.toY + b * dx + a * dy - p.toY;
    if (Math.hypot(missX, missY) <= 2 * tolerancePx + SEED_REACH * scale * Math.hypot(dx, dy)) agreeing.push(i);
  }
  return agreeing;
}

/** Least squares over the pairs that agree, with a tolerance that shrinks to the final one; at last over all pairs. */
function drawIn(pairs: readonly FeaturePair[], start: readonly number[], tolerancePx: number) {
  let inliers = start;
  for (let round = 0; round < ROUNDS; round++) {
    const map = fitted(pairs, inliers);
    if (!map) return undefined;
    const misses = start.map((i) => similarityResidual(map, pairs[i]!));
    const middle = [...misses].sort((p, q) => p - q)[misses.length >> 1]!;
    const tolerance = Math.max(tolerancePx, 1.5 * middle * 0.6 ** round);
    inliers = start.filter((_, k) => misses[k]! <= tolerance);
  }
  for (let round = 0; round < 2; round++) {
    const map = fitted(pairs, inliers);
    if (!map) return undefined;
    inliers = agreeingWithMap(pairs, map, tolerancePx);
  }
  const map = fitted(pairs, inliers);
  return map && { map, inliers, weight: weightOf(pairs, inliers) };
}

function fitted(pairs: readonly FeaturePair[], chosen: readonly number[]): Similarity | undefined {
  return placesOf(pairs, chosen).size < LEAST_PLACES ? undefined : fitSimilarity(chosen.map((i) => pairs[i]!));
}

function agreeingWithMap(pairs: readonly FeaturePair[], map: Similarity, tolerancePx: number): number[] {
  const turn = Math.atan2(map.b, map.a);
  const logScale = Math.log(Math.hypot(map.a, map.b));
  const agreeing: number[] = [];
  for (let i = 0; i < pairs.length; i++) {
    const p = pairs[i]!;
    if (Math.abs(p.logScale - logScale) > SEED_LOG_SCALE) continue;
    if (Math.abs(normalTurn(p.turnRad - turn)) > SEED_TURN_RAD) continue;
    if (similarityResidual(map, p) <= tolerancePx) agreeing.push(i);
  }
  return agreeing;
}

/** Different places of the moving picture among the pairs, with the index of each one's surest pair. */
function placesOf(pairs: readonly FeaturePair[], chosen: readonly number[]): Map<string, number> {
  const places = new Map<string, number>();
  for (const i of chosen) {
    const place = `${pairs[i]!.fromX} ${pairs[i]!.fromY}`;
    const known = places.get(place);
    if (known === undefined || pairs[i]!.ratio < pairs[known]!.ratio) places.set(place, i);
  }
  return places;
}

/** Several descriptors of one feature count once, on either side. */
function weightOf(pairs: readonly FeaturePair[], chosen: readonly number[]): number {
  const targets = new Set<string>();
  let weight = 0;
  for (const i of placesOf(pairs, chosen).values()) {
    const target = `${pairs[i]!.toX} ${pairs[i]!.toY}`;
    if (!targets.has(target)) weight += 1 - pairs[i]!.ratio ** 2;
    targets.add(target);
  }
  return weight;
}

function isPoseWithin(map: Similarity, ranges: SearchRanges): boolean {
  const scale = Math.hypot(map.a, map.b);
  if (scale < ranges.scale[0] / POSE_SLACK || scale > ranges.scale[1] * POSE_SLACK) return false;
  return isTurnWithin(Math.atan2(map.b, map.a), ranges.rotationDeg, POSE_SLACK_RAD);
}

function normalTurn(rad: number): number {
  return rad - 2 * Math.PI * Math.round(rad / (2 * Math.PI));
}
