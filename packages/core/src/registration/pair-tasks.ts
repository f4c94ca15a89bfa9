import type { Affine } from '../compute/affine.js';
import { defineTask, type Task } from '../compute/task.js';
import { ALIGN_DEFAULTS, type AlignFreedom, alignPair, type DetailPicture } from './align.js';
import { type LockCandidate, type LockSettings, lockPair, type Masked } from './lock.js';
import { measurePatches, type PatchSettings, type PatchShift } from './patches.js';

/** Input of {@link lockTask}. */
export interface LockInput {
  readonly fixed: Masked;
  readonly moving: Masked;
  readonly settings: LockSettings;
}

/** Input of {@link measureTask}: two detail pictures and a pose (moving px -> fixed px) right to a few px. */
export interface MeasureInput {
  readonly fixed: DetailPicture;
  readonly moving: DetailPicture;
  readonly pose: Affine;
  readonly freedom: AlignFreedom;
  readonly patches: PatchSettings;
}

/** What a pair of pictures says about their relation. */
export interface PairMeasure {
  /** Best single pose of the overlap, moving px -> fixed px. */
  readonly pose: Affine;
  readonly correlation: number;
  readonly samples: number;
  /** Local shifts against that pose. */
  readonly shifts: readonly PatchShift[];
}

/** Coarse lock of two pictures in a worker: {@link lockPair}. */
export const lockTask: Task<LockInput, LockCandidate[]> = defineTask('registration/lock');

/** Refinement and patch measurement of a pair in a worker. */
export const measureTask: Task<MeasureInput, PairMeasure | null> = defineTask('registration/measure');

export function runLock(input: LockInput): LockCandidate[] {
  return lockPair(input.fixed, input.moving, input.settings);
}

/** Aligns, then measures patches; null when the overlap holds too little. */
export function runMeasure(input: MeasureInput): PairMeasure | null {
  const aligned = alignPair(input.fixed, input.moving, input.pose, { ...ALIGN_DEFAULTS, freedom: input.freedom });
  if (!aligned) return null;
  const shifts = measurePatches(input.fixed, input.moving, aligned.pose, input.patches);
  return { pose: aligned.pose, correlation: aligned.correlation, samples: aligned.samples, shifts };
}
