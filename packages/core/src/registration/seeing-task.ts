import { applyX, applyY, compose, invert, translation } from '../compute/affine.js';
import { bendAt } from '../compute/bend-grid.js';
import type { BendSpread, Residuals } from '../compute/bend-spread.js';
import type { Plane } from '../compute/image.js';
import { defineTask, type Task } from '../compute/task.js';
import { measurePatches, type PatchSettings } from './patches.js';
import type { SeeingField } from './seeing-field.js';
import { smoothField } from './seeing-smooth.js';
import { type ModelFrame, type ModelSums, modelOfOthers, shiftOfAll } from './track-model.js';

/** Input of {@link bendTask}: a frame and the model of its pass, which holds it at its pose, bend and weight. */
export interface MeasureBendInput {
  readonly kind: 'measure';
  readonly model: ModelSums;
  readonly frame: ModelFrame;
  /** The bend that the frame was stacked with. */
  readonly field: SeeingField;
  /** What of the frame may be used. */
  readonly coverage: Plane;
  readonly patches: PatchSettings;
}

/** What was measured of a frame, and the field to be filled, in shared memory. */
export interface SmoothBendInput {
  readonly kind: 'smooth';
  readonly residuals: Residuals;
  readonly spread: BendSpread;
  readonly field: SeeingField;
}

/** One step of measuring the air's bends in a worker: the bend at each patch of a frame, or its field from them. */
export const bendTask: Task<MeasureBendInput | SmoothBendInput, Residuals> = defineTask('registration/bend');

export function runBend(input: MeasureBendInput | SmoothBendInput): Residuals {
  if (input.kind === 'measure') return measureBend(input);
  smoothField(input.residuals, input.spread, input.field);
  return [];
}

/** Measures each patch of a frame against the mean of the others, from where the last field has it. */
function measureBend({ model, frame, field, coverage, patches }: MeasureBendInput): Residuals {
  const others = modelOfOthers(model, frame);
  if (!others) return [];
  const { pose } = frame;
  const back = invert(pose);
  const onOthers = compose(translation(-others.x0, -others.y0), pose);
  const last = (x: number, y: number): [number, number] => {
    const [bx, by] = bendAt(field, x, y);
    return [pose.xx * bx + pose.xy * by, pose.yx * bx + pose.yy * by];
  };
  const moving = { detail: frame.detail, coverage };
  return measurePatches(others, moving, onOthers, patches, last).map((s) => {
    const u = applyX(onOthers, s.x, s.y);
    const v = applyY(onOthers, s.x, s.y);
    const [lx, ly] = last(s.x, s.y);
    const off = shiftOfAll(others, [u + s.dx, v + s.dy], [u + lx, v + ly]);
    const [dx, dy] = [lx + off.dx, ly + off.dy];
    return {
      x: s.x,
      y: s.y,
      dx: back.xx * dx + back.xy * dy,
      dy: back.yx * dx + back.yy * dy,
      variance: (off.varianceFactor * (s.cxx + s.cyy)) / 2,
    };
  });
}
