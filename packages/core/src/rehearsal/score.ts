import { setImmediate } from 'node:timers/promises';
import type { Similarity } from '../compute/similarity.js';
import { InputError, throwIfAborted } from '../job/errors.js';
import { alignPlate } from './score-align.js';
import { type GeometryScore, scoreGeometry } from './score-geometry.js';
import { type PhotometryScore, scorePhotometry } from './score-photometry.js';
import { readScoredPlate } from './score-plate.js';
import { scoreTransfer, type TransferScore } from './score-transfer.js';
import { readTruth } from './score-truth.js';

/** How to read the plate, and how to stop. */
export interface ScoreOptions {
  /** Ends the work with InterruptedError between two steps. */
  readonly signal?: AbortSignal;
  /** The plate's values are linear light, not sRGB-encoded. Default false. */
  readonly linear?: boolean;
}

/** A plate against the scene of its rehearsal. Lengths are frame px (space 2) unless a name says otherwise. */
export interface ScoreReport extends GeometryScore, PhotometryScore, TransferScore {
  /** Size of the plate, plate px (space 4). */
  readonly plateWidthPx: number;
  readonly plateHeightPx: number;
  /** How large the scene's reference length, the larger side of its lit part, is in the plate, plate px. */
  readonly discPx: number;
  /** Plate px per frame px: 1 when the plate keeps the frames' scale. */
  readonly scaleVsFrame: number;
  /** Where the plate was found: plate px to px of truth.png. */
  readonly plateToTruth: Similarity;
}

/**
 * Compares a plate with the truth folder (truth.png, truth.json) of the rehearsal that it was stitched from. The plate is
 * found by its picture alone, at any size, rotation and position. Where its alpha is below 0.99 it counts as not covered.
 * Throws InputError PLATE_UNREADABLE, TRUTH_UNREADABLE, or PLATE_DOES_NOT_MATCH (also for mirrored plates), and
 * InterruptedError.
 */
export async function scorePlate(
  platePath: string,
  truthDir: string,
  options: ScoreOptions = {},
): Promise<ScoreReport> {
  const between = async (): Promise<void> => {
    await setImmediate();
    throwIfAborted(options.signal);
  };
  throwIfAborted(options.signal);
  const truth = await readTruth(truthDir);
  const plate = await readScoredPlate(platePath, options.linear ?? false);
  await between();
  const { plateToTruth, warped, shifts } = await alignPlate(plate, truth.scene, between);
  await between();
  const photometry = scorePhotometry(warped, truth.scene);
  if (!photometry)
    throw new InputError(
      'PLATE_DOES_NOT_MATCH',
      `The plate ${platePath} covers too little lit ground of the scene to compare its light. Score a larger plate.`,
    );
  await between();
  const truthPxPerPlatePx = Math.hypot(plateToTruth.a, plateToTruth.b);
  return {
    plateWidthPx: plate.light.width,
    plateHeightPx: plate.light.height,
    discPx: (truth.referenceLengthPx * truth.truthPxPerFramePx) / truthPxPerPlatePx,
    scaleVsFrame: truth.truthPxPerFramePx / truthPxPerPlatePx,
    plateToTruth,
    ...scoreGeometry(shifts, truth.truthPxPerFramePx),
    ...photometry.score,
    ...scoreTransfer(photometry, warped.coverage, truth.scene, truth.truthPxPerFramePx),
  };
}
