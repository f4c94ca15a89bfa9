import type { Affine } from '../compute/affine.js';
import { PAIR_PARAMETERS } from './pair-bound.js';
import { refuse } from './pair-check.js';
import { overlapOf } from './pair-overlap.js';
import { poseMap } from './pair-pose.js';
import type { PairRefined } from './pair-refine.js';
import { tapEnergyAt } from './pair-taps.js';
import type { PairCovariance, PairFreedom, PairPicture, PairPlaced, PairResult } from './pair-types.js';

/** Puts what was found in the words of {@link PairPlaced}; refuses what is not finite. */
export function reportPair(
  pictures: readonly [PairPicture, PairPicture],
  refined: PairRefined,
  freedom: PairFreedom,
  probability: number,
  isMasked: boolean,
): PairResult {
  const [fixed, moving] = pictures;
  const { pose, step, plain } = refined;
  const map = poseMap(pose);
  const overlap = overlapOf(fixed, moving, map);
  const numbers = [...Object.values(map), ...step.covariance, ...plain.unitBound, refined.gain, refined.offset];
  if (!overlap || !numbers.every(Number.isFinite)) return refuse('UNSTABLE', 'least squares gave no finite pose', 0);
  const { areaPx, ...box } = overlap;
  const noise = boundVariance(pictures, refined, map, isMasked);
  const result: PairPlaced = {
    placed: true,
    pose: map,
    centre: { x: pose.mx, y: pose.my },
    shiftXPx: pose.shiftX,
    shiftYPx: pose.shiftY,
    rotationDeg: (pose.turn * 180) / Math.PI,
    scale: Math.exp(pose.logScale),
    squeeze: Math.exp(pose.logSqueeze),
    covariance: named(step.covariance, freedom, pose.logScale, pose.logSqueeze),
    bound: named(
      plain.unitBound.map((v) => v * noise),
      freedom,
      pose.logScale,
      pose.logSqueeze,
    ),
    overlap: {
      ...box,
      share: Math.min(1, areaPx / Math.min(fixed.width * fixed.height, moving.width * moving.height)),
    },
    gain: refined.gain,
    offset: refined.offset,
    residualSigma: Math.sqrt(plain.residualVariance),
    correlation: plain.correlation,
    probability,
  };
  return result;
}

/**
 * Variance that turns the unit bound into the bound: of the noise that was given, or else of the residual, which
 * interpolation leaves smaller than the noise is. Weights are 2 over the variance of a − b, in units of the noise where
 * that is known per pixel.
 */
function boundVariance(
  [{ noise: fixedNoise }, { noise: movingNoise }]: readonly [PairPicture, PairPicture],
  { gain, plain }: PairRefined,
  map: Affine,
  isMasked: boolean,
): number {
  const g2 = gain * gain;
  if (typeof fixedNoise === 'object' || typeof movingNoise === 'object') return 2;
  const weight = isMasked ? 2 / (1 + g2) : 1;
  if (fixedNoise !== undefined && movingNoise !== undefined) return weight * (fixedNoise ** 2 + g2 * movingNoise ** 2);
  const energy = tapEnergyAt(map.tx) * tapEnergyAt(map.ty);
  return (weight * plain.residualVariance * (1 + g2)) / (1 + g2 * energy);
}

/** From radians and logarithms to degrees and factors. */
function named(matrix: Float64Array, freedom: PairFreedom, logScale: number, logSqueeze: number): PairCovariance {
  const parameters = PAIR_PARAMETERS[freedom];
  const n = parameters.length;
  const units = [1, 1, 180 / Math.PI, Math.exp(logScale), Math.exp(logSqueeze)];
  const out = Array.from(matrix, (v, i) => v * units[Math.floor(i / n)]! * units[i % n]!);
  return { parameters, matrix: out };
}
