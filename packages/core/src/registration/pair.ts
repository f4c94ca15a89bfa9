import { type Affine, applyX, applyY, onCoarserGrid, onFinerGrid } from '../compute/affine.js';
import { type KernelScope, withKernels } from '../compute/kernels.js';
import { pairFault, refuse } from './pair-check.js';
import { lockPyramids } from './pair-hypotheses.js';
import { isSame, judgePair, type PairJudgement } from './pair-judge.js';
import { levelCount, type PairPyramid, pairPyramid } from './pair-levels.js';
import type { PairCandidate, PairLock } from './pair-lock.js';
import type { PairLevel } from './pair-normal.js';
import { patternShift } from './pair-pattern.js';
import { poseMap, stepPose } from './pair-pose.js';
import { type PairRefined, refinePair } from './pair-refine.js';
import { reportPair } from './pair-report.js';
import {
  PAIR_DEFAULTS,
  type PairFreedom,
  type PairOptions,
  type PairPicture,
  type PairPrior,
  type PairResult,
} from './pair-types.js';

/**
 * Finds the pose of one picture on another of the same ground: a coarse lock by band-limited phase correlation, whose
 * peaks are verified on the true overlap, then least squares down to full resolution with gain and offset free, both
 * pictures alike, which reaches the Cramér–Rao bound. Says how sure it is, and refuses rather than guesses: a refusal is
 * data, never an error. Deterministic; the inputs are left as they are. A pattern that is fixed to the sensor is seen
 * through where only a shift is free, both pictures are of one size and nothing is masked; elsewhere it counts as noise.
 * Wrong choice for pictures that differ by more than light and noise (another filter, sharpening, a moving shadow): least
 * squares on the light then leaves the lock, `UNSTABLE`; searchSimilarity, which compares detail, places those.
 *
 * @throws KernelsError when the WebAssembly kernels cannot be used, ResourceError when memory runs out.
 */
export function registerPair(fixed: PairPicture, moving: PairPicture, options: PairOptions = {}): PairResult {
  const fault = pairFault(fixed, moving, options);
  if (fault) return refuse('BAD_INPUT', fault);
  const settings = { ...PAIR_DEFAULTS, ...options };
  if (Math.min(fixed.width, fixed.height, moving.width, moving.height) < LEAST_SIDE_PX)
    return refuse('TOO_SMALL', `both sides of both pictures must be at least ${LEAST_SIDE_PX} px`);
  const quick = attempt(fixed, moving, settings, LOCK_SIDES_PX[0]);
  if (quick.placed || !AGAIN.has(quick.reason) || Math.max(fixed.width, fixed.height) <= LOCK_SIDES_PX[0]) return quick;
  return attempt(fixed, moving, settings, LOCK_SIDES_PX[1]);
}

/** Longest side of the level that the lock works on: coarse first, and finer when that does not decide. */
const LOCK_SIDES_PX = [64, 128] as const;
/** What a finer lock may mend. */
const AGAIN: ReadonlySet<string> = new Set(['NO_OVERLAP', 'AMBIGUOUS', 'UNSTABLE', 'TOO_SMALL']);

function attempt(fixed: PairPicture, moving: PairPicture, settings: Settings, lockSidePx: number): PairResult {
  return withKernels((scope) => {
    const count = levelCount(fixed, moving, lockSidePx);
    const isWeighted = typeof fixed.noise === 'object' || typeof moving.noise === 'object';
    const a = pairPyramid(scope, fixed, count, isWeighted);
    const b = pairPyramid(scope, moving, count, isWeighted);
    return emptiness('fixed', a) ?? emptiness('moving', b) ?? search(scope, [a, b], [fixed, moving], settings);
  });
}

function emptiness(name: string, pyramid: PairPyramid): PairResult | undefined {
  if (pyramid.usablePx === 0) return refuse('EMPTY', `the ${name} picture has no usable pixel`);
  if (pyramid.usablePx < LEAST_USABLE_PX)
    return refuse('TOO_SMALL', `the ${name} picture has ${pyramid.usablePx} usable px, least ${LEAST_USABLE_PX}`);
  if (isConstant(pyramid.coarsest)) return refuse('NO_DETAIL', `the ${name} picture is the same all over`);
  return undefined;
}

const LEAST_SIDE_PX = 24;
const LEAST_USABLE_PX = 600;

function isConstant(level: PairLevel): boolean {
  let low = Infinity;
  let high = -Infinity;
  for (let i = 0; i < level.data.length; i++) {
    if (level.variance?.[i] === Infinity) continue;
    low = Math.min(low, level.data[i]!);
    high = Math.max(high, level.data[i]!);
  }
  return !(high > low);
}

type Settings = typeof PAIR_DEFAULTS & PairOptions;

/** Finds, refines and judges poses from the lock's candidates, at first among the expected ones only. */
function search(
  scope: KernelScope,
  pyramids: readonly [PairPyramid, PairPyramid],
  pictures: readonly [PairPicture, PairPicture],
  settings: Settings,
): PairResult {
  const [fixed, moving] = pyramids;
  const factor = 2 ** (fixed.levels.length - 1);
  const expected = settings.expected && expectation(settings.expected, pictures[1], factor);
  const lock = lockPyramids(pyramids, pictures, settings, expected);
  const best = refineBest(scope, pyramids, lock, settings.freedom);
  if (typeof best !== 'object' || best.judgement.probability < settings.minProbability) {
    const refusal = refusalOf(best, lock);
    if (!expected) return refusal;
    const free = lockPyramids(pyramids, pictures, settings);
    const other = refineBest(scope, pyramids, free, settings.freedom);
    if (typeof other !== 'object' || other.judgement.probability < settings.minProbability) return refusal;
    return refuse('CONTRADICTED', 'the pictures match, but further from the expected pose than five times its sigma');
  }
  const refined = settings.freedom === 'shift' ? withoutSensor(fixed, moving, best.refined) : best.refined;
  const isMasked = fixed.finest.variance !== undefined || moving.finest.variance !== undefined;
  return reportPair(pictures, refined, settings.freedom, best.judgement.probability, isMasked);
}

interface Best {
  readonly refined: PairRefined;
  readonly judgement: PairJudgement;
}

/** The most likely of the candidates after least squares; 'none' to begin with, or 'unstable' when all ran away. */
function refineBest(
  scope: KernelScope,
  [fixed, moving]: readonly [PairPyramid, PairPyramid],
  lock: PairLock,
  freedom: PairFreedom,
): Best | 'none' | 'unstable' {
  const factor = 2 ** (fixed.levels.length - 1);
  const ranked = lock.candidates;
  let best: Best | undefined;
  for (const candidate of ranked.slice(0, MOST_REFINED)) {
    if (best && !candidate.isCertain && candidate.z < 0.7 * best.judgement.z) break;
    const refined = refinePair(scope, fixed, moving, onFinerGrid(candidate.map, factor), freedom);
    const map = refined && onCoarserGrid(poseMap(refined.pose), factor);
    if (!refined || !map || !isSame(lock, candidate, map)) continue;
    const judgement = candidate.isCertain ? vouched(candidate) : judgePair(lock, map);
    if (!best || judgement.z > best.judgement.z) best = { refined, judgement };
    if (judgement.probability > SURE) break;
  }
  const first = ranked[0];
  const isLocked = first && (first.isCertain || judgePair(lock, first.map).chance < 0.01);
  return best ?? (isLocked ? 'unstable' : 'none');
}

/** A search on finer detail than the lock's has compared the whole ground: its word counts for more. */
function vouched({ z, correlation }: PairCandidate): PairJudgement {
  return { z, correlation, probability: VOUCHED, chance: 1 - VOUCHED };
}

/** Just above the default of `minProbability`: no strange pair has reached the search's threshold, of some hundreds. */
const VOUCHED = 0.9991;
const MOST_REFINED = 4;
const SURE = 0.999999;

function refusalOf(best: Best | 'none' | 'unstable', lock: PairLock): PairResult {
  if (best === 'unstable') return refuse('UNSTABLE', 'least squares ran away from every lock');
  if (best === 'none')
    return refuse('NO_OVERLAP', `none of ${lock.candidates.length} candidates matches better than chance would`);
  const { z, chance, probability } = best.judgement;
  const figures = `the best match is ${z.toFixed(1)} standard deviations above chance`;
  if (chance > 0.5 * (1 - probability)) return refuse('NO_OVERLAP', figures, probability);
  return refuse('AMBIGUOUS', `${figures}, another about as good`, probability);
}

/** Whether a map of the lock's level agrees with what was expected to within five sigma. */
function expectation(expected: PairPrior, moving: PairPicture, factor: number): (map: Affine) => boolean {
  const coarse = onCoarserGrid(expected.pose, factor);
  const x = (moving.width / factor - 1) / 2;
  const y = (moving.height / factor - 1) / 2;
  const reach = (5 * expected.sigmaPx) / factor + 1.5;
  return (map) =>
    Math.hypot(applyX(map, x, y) - applyX(coarse, x, y), applyY(map, x, y) - applyY(coarse, x, y)) < reach;
}

/** A shift measured anew when a pattern that is fixed to the sensor is in both pictures. */
function withoutSensor(fixed: PairPyramid, moving: PairPyramid, refined: PairRefined): PairRefined {
  const { pose, gain, offset, step } = refined;
  const initial = { shiftX: pose.shiftX, shiftY: pose.shiftY, gain, offset };
  const found = patternShift(fixed.finest, moving.finest, initial);
  if (!found) return refined;
  const delta = Float64Array.of(found.shiftX - pose.shiftX, found.shiftY - pose.shiftY);
  const { covariance } = found;
  const better = { gain: found.gain, offset: found.offset, step: { ...step, covariance } };
  return { ...refined, ...better, pose: stepPose(pose, delta) };
}
