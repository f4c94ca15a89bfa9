import type { WorkerPool } from '../compute/pool.js';
import { type MeasureInput, measureTask } from './pair-tasks.js';
import { createModel, type ModelFrame, type ModelSums } from './track-model.js';

/** Rows that one task stacks. Fixed, so that sums do not depend on the number of workers. */
const BAND_ROWS = 128;

/** The running model of some frames, stacked by the pool, in arrays that go back to the pool with {@link clearModel}. */
export async function stackModel(
  frames: readonly ModelFrame[],
  pool: WorkerPool,
  signal: AbortSignal | undefined,
): Promise<ModelSums> {
  const model = createModel(frames, pool.floats);
  const bands: MeasureInput[] = [];
  for (let row = 0; row < model.height; row += BAND_ROWS) {
    bands.push({ kind: 'stack', model, frames, rows: [row, Math.min(model.height, row + BAND_ROWS)] });
  }
  await pool.map(measureTask, bands, { signal });
  return model;
}

/** Gives the arrays of a model back that is not needed any more. */
export function clearModel({ planes, weight }: ModelSums, pool: WorkerPool): void {
  pool.floats.give([...planes, weight]);
}
