import { createRandom } from './random.js';
import { fitSimilarity, type PointPair, type Similarity, similarityResidual } from './similarity.js';

/** A similarity, and which pairs it was fitted to. */
export interface RobustSimilarity {
  readonly map: Similarity;
  /** Indices of the pairs that agree with the map, ascending. */
  readonly inliers: readonly number[];
}

/** How many pairs of point pairs are tried: a right one is missed with p < 1e-6 even when 3 of 4 pairs are wrong. */
const LMEDS_TRIALS = 500;
/** For {@link findSimilarity}: enough for 4 % right pairs. */
const CONSENSUS_TRIALS = 8000;
/** Trials that stop early may miss a better map with this probability. */
const MISS = 1e-8;

/**
 * Least median of squares (Rousseeuw 1984), then least squares over the pairs within 2.5 robust standard deviations.
 * Withstands just under half of wrong pairs. Seeded: the same pairs give the same map. Throws RangeError when fewer than
 * two different points are given.
 */
export function fitSimilarityRobust(pairs: readonly PointPair[]): RobustSimilarity {
  const random = createRandom('least median of squares');
  const residuals = new Float64Array(pairs.length);
  const middle = pairs.length >> 1;
  let best = fitSimilarity(pairs);
  let bestMedian = Infinity;
  for (let trial = 0; trial < LMEDS_TRIALS; trial++) {
    const map = mapOfTwo(pairs, random.uniform(), random.uniform());
    if (!map) continue;
    for (let i = 0; i < pairs.length; i++) residuals[i] = similarityResidual(map, pairs[i]!);
    const median = residuals.sort()[middle]!;
    if (median < bestMedian) {
      bestMedian = median;
      best = map;
    }
  }
  const sigma = 1.4826 * (1 + 5 / Math.max(1, pairs.length - 2)) * bestMedian;
  return refit(pairs, best, Math.max(2.5 * sigma, 1e-6));
}

/**
 * The similarity that the most pairs agree with to `tolerance` (units of the `to` space), by random sampling (Fischler &
 * Bolles 1981), refitted to those pairs. For lists in which most pairs may be wrong. Scales outside `minScale` to
 * `maxScale` are not considered. Undefined when no two pairs agree. Seeded.
 */
export function findSimilarity(
  pairs: readonly PointPair[],
  tolerance: number,
  minScale: number,
  maxScale: number,
): RobustSimilarity | undefined {
  const random = createRandom('sample consensus');
  let best: Similarity | undefined;
  let bestCount = 1;
  for (let trial = 0, needed = CONSENSUS_TRIALS; trial < needed; trial++) {
    const map = mapOfTwo(pairs, random.uniform(), random.uniform());
    if (!map) continue;
    const scale = Math.hypot(map.a, map.b);
    if (scale < minScale || scale > maxScale) continue;
    let count = 0;
    for (const pair of pairs) if (similarityResidual(map, pair) <= tolerance) count++;
    if (count > bestCount) {
      bestCount = count;
      best = map;
      const hit = (count / pairs.length) ** 2;
      needed = Math.min(CONSENSUS_TRIALS, Math.log(MISS) / Math.log(1 - Math.min(hit, 0.999)));
    }
  }
  return best && refit(pairs, best, tolerance);
}

function mapOfTwo(pairs: readonly PointPair[], first: number, second: number): Similarity | undefined {
  const i = Math.floor(first * pairs.length);
  const j = Math.floor(second * pairs.length);
  const p = pairs[i];
  const q = pairs[j];
  if (!p || !q || Math.hypot(p.fromX - q.fromX, p.fromY - q.fromY) < 1e-9) return undefined;
  return fitSimilarity([p, q]);
}

function refit(pairs: readonly PointPair[], start: Similarity, tolerance: number): RobustSimilarity {
  let map = start;
  let inliers = agreeing(pairs, map, tolerance);
  for (let round = 0; round < 3 && inliers.length > 2; round++) {
    map = fitSimilarity(inliers.map((i) => pairs[i]!));
    inliers = agreeing(pairs, map, tolerance);
  }
  return { map, inliers };
}

function agreeing(pairs: readonly PointPair[], map: Similarity, tolerance: number): number[] {
  return [...pairs.keys()].filter((i) => similarityResidual(map, pairs[i]!) <= tolerance);
}
