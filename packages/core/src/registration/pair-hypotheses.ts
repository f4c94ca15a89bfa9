import { type Affine, onCoarserGrid, rotationDegOf } from '../compute/affine.js';
import type { Plane } from '../compute/image.js';
import type { Masked } from './lock.js';
import type { PairPyramid } from './pair-levels.js';
import { lockLevels, lockPoses, type PairHypothesis, type PairLock } from './pair-lock.js';
import { isCertain, searchSimilarity } from './pair-search.js';
import type { PairOptions, PairPicture } from './pair-types.js';

/**
 * Candidates for the pose, on the coarsest level: by phase correlation at every turn and scale of a narrow range, by
 * local features over a wide one. With `isPossible` only candidates that pass are looked at.
 */
export function lockPyramids(
  [fixed, moving]: readonly [PairPyramid, PairPyramid],
  pictures: readonly [PairPicture, PairPicture],
  options: PairOptions,
  isPossible: (map: Affine) => boolean = () => true,
): PairLock {
  const { rotationDeg = 0, scaleRange = 1, expected, freedom = 'shift' } = options;
  const baseDeg = expected && freedom !== 'shift' ? rotationDegOf(expected.pose) : 0;
  const hasScale = expected && freedom !== 'shift' && freedom !== 'rigid';
  const baseScale = hasScale
    ? Math.sqrt(Math.abs(expected.pose.xx * expected.pose.yy - expected.pose.xy * expected.pose.yx))
    : 1;
  const isNarrow = rotationDeg !== 'any' && rotationDeg <= NARROW_DEG && scaleRange <= NARROW_SCALE;
  if (isNarrow)
    return lockLevels(
      fixed.coarsest,
      moving.coarsest,
      hypotheses(rotationDeg, scaleRange, baseDeg, baseScale),
      isPossible,
    );
  const factor = 2 ** (fixed.levels.length - 1);
  const turns: readonly [number, number] | 'any' =
    rotationDeg === 'any' || rotationDeg + SLACK_DEG >= 180
      ? 'any'
      : [baseDeg - rotationDeg - SLACK_DEG, baseDeg + rotationDeg + SLACK_DEG];
  const found = searchSimilarity(masked(pictures[0], fixed), masked(pictures[1], moving), {
    rotationDeg: turns,
    scale: [baseScale / scaleRange / SLACK_SCALE, baseScale * scaleRange * SLACK_SCALE],
  });
  const poses = found.map((c) => ({ map: onCoarserGrid(c.pose, factor), isCertain: isCertain(c) }));
  return lockPoses(
    fixed.coarsest,
    moving.coarsest,
    poses.filter(({ map }) => isPossible(map)),
  );
}

const NARROW_DEG = 10;
const NARROW_SCALE = 1.12;
/** Candidates are right to about this. */
const SLACK_DEG = 2;
const SLACK_SCALE = 1.05;
/** Turns and scales further apart than this would not be drawn in. */
const TURN_STEP_DEG = 2.5;
const SCALE_STEP = 1.05;

function hypotheses(rotationDeg: number, scaleRange: number, baseDeg: number, baseScale: number): PairHypothesis[] {
  const turns = Math.ceil(rotationDeg / TURN_STEP_DEG - 0.5);
  const scales = Math.ceil(Math.log(scaleRange) / Math.log(SCALE_STEP) - 0.5);
  const all: PairHypothesis[] = [];
  for (let s = -scales; s <= scales; s++) {
    for (let t = -turns; t <= turns; t++) {
      const turn = turns > 0 ? (t * rotationDeg) / turns : 0;
      all.push({ rotationDeg: baseDeg + turn, scale: baseScale * scaleRange ** (scales > 0 ? s / scales : 0) });
    }
  }
  return all;
}

function masked({ width, height }: PairPicture, { finest }: PairPyramid): Masked {
  const light: Plane = { width, height, data: finest.data };
  if (!finest.variance) return { light };
  return { light, coverage: { width, height, data: finest.variance.map((v) => (v < Infinity ? 1 : 0)) } };
}
