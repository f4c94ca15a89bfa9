import type { Affine } from '../compute/affine.js';
import { accumulateWithKernels, type Bend } from '../compute/kernels-accumulate.js';
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
  /** The frame's weight rises from 0 at its border to full over this distance, px. */
  readonly featherPx: number;
  /** Distance of the border from the outermost pixel centres, px; at least, and by default, what the taps need. */
  readonly borderPx?: number;
  /** How the frame is bent, and weighed from place to place. Default: not at all. */
  readonly bend?: Bend;
  /** What is added to where each channel is read, frame px: the air's dispersion. Default: nothing. */
  readonly offsets?: readonly (readonly [number, number])[];
}

/** Adds one frame to some rows of a strip, in a worker. */
export const accumulateTask: Task<AccumulateInput, null> = defineTask('strip/accumulate');

export function runAccumulate(input: AccumulateInput): null {
  accumulateWithKernels(input);
  return null;
}
