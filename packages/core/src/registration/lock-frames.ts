import { type Affine, applyX, applyY } from '../compute/affine.js';
import type { PlaneSource } from '../compute/plane-source.js';
import type { WorkerPool } from '../compute/pool.js';
import { LOCK_DEFAULTS, type LockCandidate } from './lock.js';
import { lockTask } from './pair-tasks.js';

/** A frame to be linked. */
export interface LinkFrame {
  /** Its place in the recording. */
  readonly index: number;
  readonly light: PlaneSource;
}

/** A lock is looked at from this significance on (see {@link LockCandidate}). */
export const LEAST_SIGNIFICANCE = 9;
/** And from this correlation of the coarse detail on. */
export const LEAST_CORRELATION = 0.2;

/** Candidates for the relation of two frames. */
export interface Candidates {
  readonly fixed: number;
  readonly moving: number;
  /** Steps of the recording from one to the other. */
  readonly steps: number;
  readonly found: readonly LockCandidate[];
}

/** Locks pairs of frames, given by their positions in the list; what could be chance is left out. */
export async function lockAll(
  frames: readonly LinkFrame[],
  pairs: readonly (readonly [number, number])[],
  pool: WorkerPool,
  signal?: AbortSignal,
  onDone: (done: number) => void = () => {},
): Promise<Candidates[]> {
  const inputs = pairs.map(([fixed, moving]) => ({
    fixed: { light: frames[fixed]!.light },
    moving: { light: frames[moving]!.light },
    settings: LOCK_DEFAULTS,
  }));
  const found = await pool.map(lockTask, inputs, { signal, onDone });
  return pairs.map(([fixed, moving], k) => ({
    fixed,
    moving,
    steps: frames[moving]!.index - frames[fixed]!.index,
    found: found[k]!.filter(believable),
  }));
}

/** Whether a lock may be looked at: clear of what chance gives. */
export function believable(candidate: LockCandidate): boolean {
  return candidate.significance >= LEAST_SIGNIFICANCE && candidate.correlation >= LEAST_CORRELATION;
}

/** How far the middle of the frame moves, px. */
export function shiftOf(pose: Affine, frame: PlaneSource): { x: number; y: number } {
  const cx = (frame.width - 1) / 2;
  const cy = (frame.height - 1) / 2;
  return { x: applyX(pose, cx, cy) - cx, y: applyY(pose, cx, cy) - cy };
}
