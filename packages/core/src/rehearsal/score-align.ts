import type { Plane } from '../compute/image.js';
import { fitSimilarityRobust } from '../compute/robust-similarity.js';
import { invertSimilarity, type Similarity } from '../compute/similarity.js';
import { InputError } from '../job/errors.js';
import { createPatchMeter, type PatchShift, type WarpedPlate } from './score-geometry.js';
import { matchPlate } from './score-match.js';
import type { ScoredPlate } from './score-plate.js';
import { warpSimilarity } from './score-warp.js';

/** The plate laid over the scene. */
export interface Alignment {
  /** Plate px (space 4) to truth px. */
  readonly plateToTruth: Similarity;
  /** The plate on the scene's grid. */
  readonly warped: WarpedPlate;
  /** What shift is left, in overlapping patches. */
  readonly shifts: readonly PatchShift[];
}

const REFINEMENTS = 3;
const REFINE_STEP_PX = 96;
const MEASURE_STEP_PX = 64;
const LEAST_PATCHES = 8;

/**
 * Finds the plate on the scene: keypoints first, then three rounds of patch shifts and a robust similarity.
 * `between` is awaited between the steps, so that the caller can stop the work. Throws InputError
 * PLATE_DOES_NOT_MATCH.
 */
export async function alignPlate(plate: ScoredPlate, scene: Plane, between: () => Promise<void>): Promise<Alignment> {
  const start = matchPlate(plate.light, scene);
  if (!start)
    throw noMatch('no position, rotation and scale brings its detail onto the scene (mirrored plates never match)');
  const measure = createPatchMeter(scene);
  let plateToTruth = start;
  for (let round = 0; round < REFINEMENTS; round++) {
    await between();
    const shifts = enough(measure(warp(plate, plateToTruth, scene), REFINE_STEP_PX));
    plateToTruth = refit(plateToTruth, shifts);
  }
  await between();
  const warped = warp(plate, plateToTruth, scene);
  return { plateToTruth, warped, shifts: enough(measure(warped, MEASURE_STEP_PX)) };
}

function warp(plate: ScoredPlate, map: Similarity, scene: Plane): WarpedPlate {
  return {
    light: warpSimilarity(plate.light, map, scene.width, scene.height, 'cubic'),
    coverage: warpSimilarity(plate.coverage, map, scene.width, scene.height, 'linear'),
  };
}

function refit(map: Similarity, shifts: readonly PatchShift[]): Similarity {
  const back = invertSimilarity(map);
  return fitSimilarityRobust(
    shifts.map(({ x, y, shiftX, shiftY }) => ({
      fromX: back.a * x - back.b * y + back.tx,
      fromY: back.b * x + back.a * y + back.ty,
      toX: x + shiftX,
      toY: y + shiftY,
    })),
  ).map;
}

function enough(shifts: readonly PatchShift[]): readonly PatchShift[] {
  if (shifts.length < LEAST_PATCHES)
    throw noMatch(`only ${shifts.length} patches of lit ground could be compared, ${LEAST_PATCHES} are needed`);
  return shifts;
}

function noMatch(why: string): InputError {
  return new InputError(
    'PLATE_DOES_NOT_MATCH',
    `The plate does not match the scene: ${why}. Check that the plate was made from this rehearsal's capture.`,
  );
}
