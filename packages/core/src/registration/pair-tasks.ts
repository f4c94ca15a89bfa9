import { type Affine, applyX, applyY, compose, IDENTITY } from '../compute/affine.js';
import type { Plane } from '../compute/image.js';
import { type KernelScope, withKernels } from '../compute/kernels.js';
import { holdGradient } from '../compute/kernels-filter.js';
import { type PlaneSource, wholePlane } from '../compute/plane-source.js';
import { defineTask, type Task } from '../compute/task.js';
import { ALIGN_DEFAULTS, type AlignFreedom, type AlignSettings, alignHeld, alignPair } from './align.js';
import type { HeldPair } from './held-pair.js';
import { type LockCandidate, type LockSettings, lockPair, type Masked } from './lock.js';
import { measureOnGrid, measurePatches, type PatchSettings, type PatchShift } from './patches.js';
import {
  innerBox,
  type ModelFrame,
  type ModelSums,
  type OthersInFrame,
  othersInFrame,
  shareOf,
  stackRows,
} from './track-model.js';

/** Input of {@link lockTask}. */
export interface LockInput {
  readonly fixed: Omit<Masked, 'light'> & { readonly light: PlaneSource };
  readonly moving: Omit<Masked, 'light'> & { readonly light: PlaneSource };
  readonly settings: LockSettings;
}

/** Two detail pictures and a pose (moving px -> fixed px) right to a few px. */
export interface PairInput {
  readonly kind: 'pair';
  readonly fixed: PlaneSource;
  readonly moving: PlaneSource;
  /** What of each may be used. */
  readonly coverage: Plane;
  readonly pose: Affine;
  readonly freedom: AlignFreedom;
  readonly patches: PatchSettings;
}

/** A frame and the running model of its pass, which holds it at the frame's pose and weight. */
export interface AgainstModelInput {
  readonly kind: 'model';
  readonly model: ModelSums;
  readonly frame: ModelFrame;
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
  const [fixed, moving] = [input.fixed, input.moving].map((p) => ({ ...p, light: wholePlane(p.light) }));
  return lockPair(fixed!, moving!, input.settings);
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
  const { coverage } = input;
  const fixed = { detail: wholePlane(input.fixed), coverage };
  const moving = { detail: wholePlane(input.moving), coverage };
  const aligned = alignPair(fixed, moving, input.pose, { ...COMMON, freedom: input.freedom });
  if (!aligned) return null;
  const shifts = measurePatches(fixed, moving, aligned.pose, input.patches);
  return { pose: aligned.pose, correlation: aligned.correlation, samples: aligned.samples, shifts };
}

/** Measures a frame against the model of the others. Shifts are given from the pose at which the frame was stacked. */
function measureAgainstModel({ model, frame, patches, near }: AgainstModelInput): PairMeasure | null {
  return withKernels((scope) => {
    const others = othersInFrame(scope, model, frame);
    if (!others) return null;
    const { pose } = frame;
    const aligned = near ? undefined : alignHeld(pairOf(scope, others), IDENTITY, COMMON);
    if (!near && !aligned) return null;
    const turn = aligned?.pose ?? IDENTITY;
    const start = (x: number, y: number) => [applyX(turn, x, y) - x, applyY(turn, x, y) - y] as const;
    const reach = {
      ...patches,
      maxShiftPx: patches.maxShiftPx + Math.hypot(...start(others.width / 2, others.height / 2)),
    };
    const box = innerBox(others.width, others.height);
    const measured = measureOnGrid(scope, others, box, reach, start);
    const shareAt = shareOf(scope, others);
    const shifts = measured.map((s) => {
      const part = shareAt(s.x + s.dx, s.y + s.dy);
      const [dx, dy] = [part * (pose.xx * s.dx + pose.xy * s.dy), part * (pose.yx * s.dx + pose.yy * s.dy)];
      const factor = part * part;
      return { ...s, dx, dy, cxx: s.cxx * factor, cxy: s.cxy * factor, cyy: s.cyy * factor };
    });
    const mean = shifts.reduce((sum, s) => sum + s.correlation / shifts.length, 0);
    return {
      pose: compose(pose, turn),
      correlation: aligned?.correlation ?? mean,
      samples: aligned?.samples ?? 0,
      shifts,
    };
  });
}

function pairOf(scope: KernelScope, { width, height, fixed, cover, moving }: OthersInFrame): HeldPair {
  const { x, y } = holdGradient(scope, { width, height, data: fixed });
  return {
    fixed: { width, height, data: fixed, coverage: cover, gradientX: x, gradientY: y },
    moving: { width, height, data: moving },
  };
}
