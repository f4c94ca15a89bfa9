import { type Affine, invert, mappedBounds } from '../compute/affine.js';
import { FEATHER_SHARE } from '../compute/feather.js';
import type { GridBox } from '../compute/grid-box.js';
import type { Bend } from '../compute/kernels-accumulate.js';
import type { WorkerPool } from '../compute/pool.js';
import { accumulateTask } from './accumulate.js';
import { createStripStore, type StripFile, type StripStore } from './strip-store.js';

/** A frame to be stacked. */
export interface StackFrame {
  readonly width: number;
  readonly height: number;
  /** Frame px -> plate px. */
  readonly pose: Affine;
  readonly weight: number;
  /** How it is bent, and weighed from place to place, on the plate. Default: not at all. */
  readonly bend?: Bend;
  /** What is added to where each channel is read, frame px; asked for once the first frame is loaded. Default: nothing. */
  readonly offsets?: () => readonly (readonly [number, number])[] | undefined;
  /** Fills the given planes, in shared memory, with the frame's light. */
  readonly load: (planes: readonly Float32Array[]) => Promise<unknown>;
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

/** Where a strip is stacked, and with what. */
export interface StackSettings {
  /** File for the strip, to be made. */
  readonly path: string;
  /** Place of the strip on the plate. */
  readonly box: GridBox;
  readonly channels: number;
  /** Room for frames that wait and for parts of the strip; what one frame needs is taken in any case. */
  readonly memoryBytes: number;
  readonly pool: WorkerPool;
  readonly signal?: AbortSignal | undefined;
  readonly onDone?: (done: number) => void;
}

/** Frames in memory at most: one being added, the next ones being decoded. */
const MOST_WAITING = 3;

/**
 * Weighted sums of frames on one grid, resampled once (Lanczos, radius 3), on disk. Frames are added one by one, the next
 * ones being decoded meanwhile; every pixel is summed in the order of the frames, so that the bits depend neither on the
 * number of workers nor on the memory.
 */
export async function stackFrames(frames: readonly StackFrame[], settings: StackSettings): Promise<StripFile> {
  const { path, box, channels, memoryBytes, onDone } = settings;
  const { floats } = settings.pool;
  const area = Math.max(...frames.map((f) => f.width * f.height));
  const slotBytes = 4 * channels * area;
  const count = Math.max(2, Math.min(MOST_WAITING, Math.floor(memoryBytes / (2 * slotBytes))));
  const slots = Array.from({ length: count }, () => Array.from({ length: channels }, () => floats.take(area)));
  const store = createStripStore(path, box, channels, memoryBytes - count * slotBytes, floats);
  const loading = new Map<number, Promise<unknown>>();
  const start = (k: number): void => {
    const frame = frames[k];
    if (!frame) return;
    const job = frame.load(slots[k % count]!.map((plane) => plane.subarray(0, frame.width * frame.height)));
    // A failure is thrown where its turn is awaited; until then it must not count as unhandled.
    job.catch(() => undefined);
    loading.set(k, job);
  };
  for (let k = 0; k < count - 1; k++) start(k);
  try {
    for (let k = 0; k < frames.length; k++) {
      await loading.get(k);
      loading.delete(k);
      start(k + count - 1);
      await addFrame(store, frames[k]!, slots[k % count]!, settings);
      onDone?.(k + 1);
    }
  } finally {
    await Promise.allSettled(loading.values());
    floats.give(slots.flat());
  }
  store.finish();
  return store.strip;
}

async function addFrame(
  store: StripStore,
  frame: StackFrame,
  planes: readonly Float32Array[],
  { pool, signal }: StackSettings,
): Promise<void> {
  const { width, height, pose, bend } = frame;
  const offsets = frame.offsets?.();
  const common = {
    frame: { width, height, planes },
    plateToFrame: invert(pose),
    frameWeight: frame.weight,
    featherPx: FEATHER_SHARE * Math.min(width, height),
    ...(bend && { bend }),
    ...(offsets && { offsets }),
  };
  const parts = store.under(boxOf([frame]));
  await pool.map(
    accumulateTask,
    parts.map((sums) => ({ ...common, sums, rows: [0, sums.height] as const })),
    { signal },
  );
}
