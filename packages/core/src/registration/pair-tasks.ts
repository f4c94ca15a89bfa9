import { type Affine, applyX, applyY, compose, translation } from '../compute/affine.js';
import type { Plane } from '../compute/image.js';
import { defineTask, type Task } from '../compute/task.js';
import { ALIGN_DEFAULTS, type AlignFreedom, type AlignSettings, alignPair, type DetailPicture } from './align.js';
import { type LockCandidate, type LockSettings, lockPair, type Masked } from './lock.js';
import { measurePatches, type PatchSettings, type PatchShift } from './patches.js';
import { type ModelFrame, type ModelSums, modelOfOthers, shiftOfAll, stackRows } from './track-model.js';

/** Input of {@link lockTask}. */
export interface LockInput {
  readonly fixed: Masked;
  readonly moving: Masked;
  readonly settings: LockSettings;
}

/** Two detail pictures and a pose (moving px -> fixed px) right to a few px. */
export interface PairInput {
  readonly kind: 'pair';
  readonly fixed: DetailPicture;
  readonly moving: DetailPicture;
  readonly pose: Affine;
  readonly freedom: AlignFreedom;
  readonly patches: PatchSettings;
}

/** A frame and the running model of its pass, which holds it at the frame's pose and weight. */
export interface AgainstModelInput {
  readonly kind: 'model';
  readonly model: ModelSums;
  readonly frame: ModelFrame;
  /** What of the frame may be used. */
  readonly coverage: Plane;
  readonly patches: PatchSettings;
  /** Whether the pose is right to tenths of a px, so that patches can do without a common alignment first. */
  readonly near: boolean;
}

/** Rows of a running model, in shared memory, to be filled with frames. */
export interface StackInput {
  readonly kind: 'stack';
  readonly model: ModelSums;
  readonly frames: readonly ModelFrame[];
  readonly rows: readonly [number, number];
}

/** Input of {@link measureTask}. */
export type MeasureInput = PairInput | AgainstModelInput | StackInput;

/** What a pair of pictures says about their relation. */
export interface PairMeasure {
  /** Best single pose of the overlap, moving px -> fixed px (strip px, when measured against a model). */
  readonly pose: Affine;
  readonly correlation: number;
  readonly samples: number;
  /** Local shifts against that pose; when measured against a model, against the pose at which the frame was stacked. */
  readonly shifts: readonly PatchShift[];
}

/** Coarse lock of two pictures in a worker: {@link lockPair}. */
export const lockTask: Task<LockInput, LockCandidate[]> = defineTask('registration/lock');

/** One step of registering a pass in a worker; null where nothing can be measured, and for a stack. */
export const measureTask: Task<MeasureInput, PairMeasure | null> = defineTask('registration/measure');

export function runLock(input: LockInput): LockCandidate[] {
  return lockPair(input.fixed, input.moving, input.settings);
}

export function runMeasure(input: MeasureInput): PairMeasure | null {
  if (input.kind === 'pair') return measurePair(input);
  if (input.kind === 'model') return measureAgainstModel(input);
  stackRows(input.model, input.frames, ...input.rows);
  return null;
}

/** The common alignment only has to bring patches near enough: every fourth row and column tells that. */
const COMMON: AlignSettings = { ...ALIGN_DEFAULTS, stridePx: 4 };

/** Aligns, then measures patches; null when the overlap holds too little. */
function measurePair(input: PairInput): PairMeasure | null {
  const aligned = alignPair(input.fixed, input.moving, input.pose, { ...COMMON, freedom: input.freedom });
  if (!aligned) return null;
  const shifts = measurePatches(input.fixed, input.moving, aligned.pose, input.patches);
  return { pose: aligned.pose, correlation: aligned.correlation, samples: aligned.samples, shifts };
}

/** Measures a frame against the model of the others. Shifts are given from the pose at which the frame was stacked. */
function measureAgainstModel({ model, frame, coverage, patches, near }: AgainstModelInput): PairMeasure | null {
  const others = modelOfOthers(model, frame);
  if (!others) return null;
  const start = compose(translation(-others.x0, -others.y0), frame.pose);
  const moving = { detail: frame.detail, coverage };
  const aligned = near ? undefined : alignPair(others, moving, start, COMMON);
  if (!near && !aligned) return null;
  const pose = aligned?.pose ?? start;
  const shifts = measurePatches(others, moving, pose, patches).map((s) => {
    const to = [applyX(pose, s.x, s.y) + s.dx, applyY(pose, s.x, s.y) + s.dy] as const;
    const { dx, dy, varianceFactor } = shiftOfAll(others, to, [applyX(start, s.x, s.y), applyY(start, s.x, s.y)]);
    const [cxx, cxy, cyy] = [s.cxx * varianceFactor, s.cxy * varianceFactor, s.cyy * varianceFactor];
    return { ...s, dx, dy, cxx, cxy, cyy };
  });
  const mean = shifts.reduce((sum, s) => sum + s.correlation / shifts.length, 0);
  return {
    pose: compose(translation(others.x0, others.y0), pose),
    correlation: aligned?.correlation ?? mean,
    samples: aligned?.samples ?? 0,
    shifts,
  };
}
