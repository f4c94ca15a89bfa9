import { type Affine, applyX, applyY } from '../compute/affine.js';
import { likenessAt } from './pair-likeness.js';
import { type PairCandidate, type PairLock, significance } from './pair-lock.js';

/** What is believed of a pose. */
export interface PairJudgement {
  /** Correlation of the detail over what chance gives, in standard deviations. */
  readonly z: number;
  /** Probability that it is the true pose. */
  readonly probability: number;
  /** Probability that chance alone gives as good a match anywhere in the search. */
  readonly chance: number;
  readonly correlation: number;
}

/**
 * Weighs a refined pose, on the level of the lock, against chance and against the other candidates. Chance: the number
 * of independent poses that were looked at times the tail of the normal distribution, z lessened by a quarter because
 * the detail of real ground is patchy.
 */
export function judgePair(lock: PairLock, map: Affine): PairJudgement {
  const { correlation, samples } = likenessAt(lock.fixed, lock.moving, map);
  const z = significance(correlation, samples, lock.sampleAreaPx);
  if (!(z > 0)) return { z, probability: 0, chance: 1, correlation };
  const sure = z * CAUTION;
  const chance = Math.min(1, lock.trials * tail(sure));
  let odds = chance / Math.max(1e-300, 1 - chance);
  for (const other of lock.candidates) if (!isSame(lock, other, map)) odds += oddsOf(other.z, z);
  return { z, probability: 1 / (1 + odds), chance, correlation };
}

/**
 * Odds of another pose with a match of z₂ against one of z₁: exp((z₂² − z₁²)/2) while the other may be chance; once it
 * cannot be, the ground repeats itself, and the odds are those of a tenth of z₁ as the error of the difference.
 */
function oddsOf(other: number, z: number): number {
  if (other >= z) return 1;
  if (other < SIGNIFICANT_Z) return Math.exp((CAUTION ** 2 * (Math.max(0, other) ** 2 - z * z)) / 2);
  return Math.exp(-(((z - other) / (0.1 * z)) ** 2) / 2);
}

const CAUTION = 0.75;
const SIGNIFICANT_Z = 7;

/** The same pose but for what least squares mends: middle of the moving picture within four pixels of the level. */
export function isSame(lock: PairLock, candidate: PairCandidate, map: Affine): boolean {
  const x = (lock.moving.width - 1) / 2;
  const y = (lock.moving.height - 1) / 2;
  const dx = applyX(candidate.map, x, y) - applyX(map, x, y);
  const dy = applyY(candidate.map, x, y) - applyY(map, x, y);
  return Math.hypot(dx, dy) < SAME_PX;
}

const SAME_PX = 5;

/** Upper tail of the standard normal distribution, right to a factor of 1.3 above 1 (Mills's ratio, a lower bound's mean). */
function tail(z: number): number {
  if (z <= 0) return 0.5;
  return Math.min(0.5, (Math.exp((-z * z) / 2) / Math.sqrt(2 * Math.PI)) * (2 / (z + Math.sqrt(z * z + 8 / Math.PI))));
}
