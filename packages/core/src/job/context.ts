import { createWorkerPool, type WorkerPool } from '../compute/pool.js';
import { throwIfAborted } from './errors.js';
import type { ProgressListener } from './progress.js';
import { prepareWorkFolder } from './work-folder.js';

/** What a stage needs to run: where artefacts lie, how it is cancelled, whom it tells. */
export interface StageContext {
  /** Absolute path of the work folder. */
  readonly workDir: string;
  readonly signal: AbortSignal | undefined;
  readonly onProgress: ProgressListener;
}

/** What every step of a job gets: a {@link StageContext} and the threads. */
export interface JobContext extends StageContext {
  readonly pool: WorkerPool;
  /** Memory that the whole run should stay within, bytes: what a step may hold of pictures is a share of it. */
  readonly memoryBytes: number;
}

/** Memory that a run stays within when nothing is said. */
export const MEMORY_BYTES: number = 2 * 2 ** 30;

/** Settings of {@link runJob}. */
export interface JobOptions {
  /** Absolute path of the work folder; made when missing. */
  readonly workDir: string;
  /** Threads. Default: one per core. Never changes the result. */
  readonly workers?: number | undefined;
  /** Default: {@link MEMORY_BYTES}. Never changes the result. */
  readonly memoryBytes?: number | undefined;
  readonly signal?: AbortSignal | undefined;
  /** Default: nobody is told. */
  readonly onProgress?: ProgressListener | undefined;
}

/** Opens the work folder and a worker pool, does the work, and closes the pool whatever happens. */
export async function runJob<T>(options: JobOptions, work: (context: JobContext) => Promise<T>): Promise<T> {
  const { workDir, workers, memoryBytes = MEMORY_BYTES, signal, onProgress = () => {} } = options;
  throwIfAborted(signal);
  await prepareWorkFolder(workDir);
  const pool = createWorkerPool(workers === undefined ? {} : { workers });
  try {
    return await work({ workDir, signal, onProgress, pool, memoryBytes });
  } finally {
    await pool.close();
  }
}
