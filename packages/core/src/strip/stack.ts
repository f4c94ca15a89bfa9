import { type Affine, invert, mappedBounds } from '../compute/affine.js';
import { FEATHER_SHARE } from '../compute/feather.js';
import { createFloats } from '../compute/image.js';
import type { Bend } from '../compute/kernels-accumulate.js';
import type { WorkerPool } from '../compute/pool.js';
import { accumulateTask, type StripSums } from './accumulate.js';

/** A frame to be stacked. */
export interface StackFrame {
  readonly width: number;
  readonly height: number;
  /** Frame px -> strip or plate px. */
  readonly pose: Affine;
  readonly weight: number;
  /** How it is bent on the strip or plate. Default: not at all. */
  readonly bend?: Bend;
  /** Fills the given planes, in shared memory, with the frame's light. */
  readonly load: (planes: readonly Float32Array[]) => Promise<unknown>;
}

/** A rectangle of whole pixels of a strip's or plate's grid. */
export interface GridBox {
  readonly x0: number;
  readonly y0: number;
  readonly width: number;
  readonly height: number;
}

/** Smallest box of whole pixels that holds all frames. */
export function boxOf(
  frames: readonly { readonly width: number; readonly height: number; readonly pose: Affine }[],
): GridBox {
  const bounds = frames.map((f) => mappedBounds(f.pose, f.width, f.height));
  const x0 = Math.floor(Math.min(...bounds.map((b) => b.x0)));
  const y0 = Math.floor(Math.min(...bounds.map((b) => b.y0)));
  return {
    x0,
    y0,
    width: Math.ceil(Math.max(...bounds.map((b) => b.x1))) - x0 + 1,
    height: Math.ceil(Math.max(...bounds.map((b) => b.y1))) - y0 + 1,
  };
}

/** Rows that one task adds a frame to. Fixed, so that results do not depend on the number of workers. */
const BAND_ROWS = 96;

/**
 * Weighted mean of frames on one grid, resampled once (Lanczos, radius 3). Frames are taken one by one, the next being
 * decoded while the last is added; every pixel is summed in the order of the frames, so that the bits do not depend on
 * the number of workers. Afterwards `planes` hold light, 0 where `weight` is 0.
 */
export async function stackFrames(
  frames: readonly StackFrame[],
  box: GridBox,
  channels: number,
  pool: WorkerPool,
  signal?: AbortSignal,
  onDone?: (done: number) => void,
): Promise<StripSums> {
  const size = box.width * box.height;
  const sums: StripSums = {
    ...box,
    planes: Array.from({ length: channels }, () => createFloats(size, true)),
    weight: createFloats(size, true),
  };
  const area = Math.max(...frames.map((f) => f.width * f.height));
  const slots = [0, 1].map(() => Array.from({ length: channels }, () => createFloats(area, true)));
  const load = (k: number): Promise<unknown> => {
    const frame = frames[k]!;
    return frame.load(slots[k % 2]!.map((plane) => plane.subarray(0, frame.width * frame.height)));
  };
  let loading = load(0);
  for (let k = 0; k < frames.length; k++) {
    await loading;
    const added = addFrame(sums, frames[k]!, slots[k % 2]!, pool, signal);
    if (k + 1 < frames.length) {
      loading = load(k + 1);
      // A failure is thrown by the next turn's await; until then it must not count as unhandled.
      loading.catch(() => undefined);
    }
    try {
      await added;
    } catch (error) {
      await loading.catch(() => undefined);
      throw error;
    }
    onDone?.(k + 1);
  }
  for (const plane of sums.planes) {
    for (let i = 0; i < size; i++) plane[i] = sums.weight[i]! > 0 ? plane[i]! / sums.weight[i]! : 0;
  }
  return sums;
}

async function addFrame(
  sums: StripSums,
  frame: StackFrame,
  planes: readonly Float32Array[],
  pool: WorkerPool,
  signal?: AbortSignal,
): Promise<void> {
  const bounds = mappedBounds(frame.pose, frame.width, frame.height);
  const first = Math.max(0, Math.floor(bounds.y0) - sums.y0);
  const last = Math.min(sums.height, Math.ceil(bounds.y1) + 1 - sums.y0);
  const bands: (readonly [number, number])[] = [];
  for (let row = first - (first % BAND_ROWS); row < last; row += BAND_ROWS) {
    bands.push([Math.max(first, row), Math.min(last, row + BAND_ROWS)]);
  }
  const common = {
    sums,
    frame: { width: frame.width, height: frame.height, planes },
    plateToFrame: invert(frame.pose),
    frameWeight: frame.weight,
    featherPx: FEATHER_SHARE * Math.min(frame.width, frame.height),
    ...(frame.bend && { bend: frame.bend }),
  };
  await pool.map(
    accumulateTask,
    bands.map((rows) => ({ ...common, rows })),
    { signal },
  );
}
