import { bendAt } from '../compute/bend-grid.js';
import type { BendSpread, Residuals } from '../compute/bend-spread.js';
import { withKernels } from '../compute/kernels.js';
import { defineTask, type Task } from '../compute/task.js';
import { measureOnGrid, type PatchSettings } from './patches.js';
import type { SeeingField } from './seeing-field.js';
import { smoothField } from './seeing-smooth.js';
import { innerBox, type ModelFrame, type ModelSums, othersInFrame, shareOf } from './track-model.js';

/** Input of {@link bendTask}: a frame and the model of its pass, which holds it at its pose, bend and weight. */
export interface MeasureBendInput {
  readonly kind: 'measure';
  readonly model: ModelSums;
  readonly frame: ModelFrame;
  /** The bend that the frame was stacked with. */
  readonly field: SeeingField;
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

/** Measures each patch of a frame against the mean of the others, as the frame would show it by its last field. */
function measureBend({ model, frame, field, patches }: MeasureBendInput): Residuals {
  return withKernels((scope) => {
    const others = othersInFrame(scope, model, frame, frame.bend && field);
    if (!others) return [];
    const measured = measureOnGrid(scope, others, innerBox(others.width, others.height), patches);
    const shareAt = shareOf(scope, others);
    return measured.map((s) => {
      const [x, y] = [s.x + s.dx, s.y + s.dy];
      const part = shareAt(x, y);
      const [lx, ly] = bendAt(field, s.x, s.y);
      const [bx, by] = bendAt(field, x, y);
      return {
        x: s.x,
        y: s.y,
        dx: lx + part * (s.dx + bx - lx),
        dy: ly + part * (s.dy + by - ly),
        variance: (part * part * (s.cxx + s.cyy)) / 2,
      };
    });
  });
}
