import { type Affine, applyX, applyY } from '../compute/affine.js';
import { LANCZOS_PHASES, LANCZOS_RADIUS, LANCZOS_TAPS, LANCZOS_WEIGHTS } from '../compute/lanczos.js';
import { defineTask, type Task } from '../compute/task.js';

/** A strip being added up, in shared memory: sums of light × weight by channel, and the sum of weights. */
export interface StripSums {
  /** Size, and place of its first pixel on the plate (space 4). */
  readonly width: number;
  readonly height: number;
  readonly x0: number;
  readonly y0: number;
  readonly planes: readonly Float32Array[];
  readonly weight: Float32Array;
}

/** Input of {@link accumulateTask}: one frame added to some rows of a strip. */
export interface AccumulateInput {
  readonly sums: StripSums;
  /** Rows of the strip, first and one past the last. No other task may hold them. */
  readonly rows: readonly [number, number];
  readonly frame: { readonly width: number; readonly height: number; readonly planes: readonly Float32Array[] };
  /** Plate px -> frame px. */
  readonly plateToFrame: Affine;
  readonly frameWeight: number;
  /** The frame's weight rises from 0 at its edge to full over this distance, px. */
  readonly featherPx: number;
}

/** Adds one frame to some rows of a strip, in a worker. */
export const accumulateTask: Task<AccumulateInput, null> = defineTask('strip/accumulate');

export function runAccumulate(input: AccumulateInput): null {
  const { sums, frame, plateToFrame: back, frameWeight, featherPx } = input;
  const channels = sums.planes.length;
  const margin = LANCZOS_RADIUS - 1;
  for (let row = input.rows[0]; row < input.rows[1]; row++) {
    const y = row + sums.y0;
    for (let column = 0; column < sums.width; column++) {
      const x = column + sums.x0;
      const sx = applyX(back, x, y);
      const sy = applyY(back, x, y);
      const inside = Math.min(sx - margin, sy - margin, frame.width - 1 - margin - sx, frame.height - 1 - margin - sy);
      if (!(inside > 0)) continue;
      const rise = inside >= featherPx ? 1 : inside / featherPx;
      const weight = frameWeight * rise * rise * (3 - 2 * rise);
      const ix = Math.floor(sx);
      const iy = Math.floor(sy);
      const px = Math.round((sx - ix) * LANCZOS_PHASES) * LANCZOS_TAPS;
      const py = Math.round((sy - iy) * LANCZOS_PHASES) * LANCZOS_TAPS;
      const first = (iy - margin) * frame.width + ix - margin;
      const at = row * sums.width + column;
      for (let c = 0; c < channels; c++)
        sums.planes[c]![at]! += weight * interpolate(frame.planes[c]!, frame.width, first, px, py);
      sums.weight[at]! += weight;
    }
  }
  return null;
}

function interpolate(data: Float32Array, stride: number, first: number, px: number, py: number): number {
  const w0 = LANCZOS_WEIGHTS[px]!;
  const w1 = LANCZOS_WEIGHTS[px + 1]!;
  const w2 = LANCZOS_WEIGHTS[px + 2]!;
  const w3 = LANCZOS_WEIGHTS[px + 3]!;
  const w4 = LANCZOS_WEIGHTS[px + 4]!;
  const w5 = LANCZOS_WEIGHTS[px + 5]!;
  let sum = 0;
  for (let j = 0, p = first; j < LANCZOS_TAPS; j++, p += stride) {
    sum +=
      LANCZOS_WEIGHTS[py + j]! *
      (w0 * data[p]! +
        w1 * data[p + 1]! +
        w2 * data[p + 2]! +
        w3 * data[p + 3]! +
        w4 * data[p + 4]! +
        w5 * data[p + 5]!);
  }
  return sum;
}
