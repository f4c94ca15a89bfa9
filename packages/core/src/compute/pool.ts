import { availableParallelism } from 'node:os';
import { fileURLToPath } from 'node:url';
import { Piscina } from 'piscina';
import { InternalError, InterruptedError, ResourceError, throwIfAborted, UsageError } from '../job/errors.js';
import { createAbortWatch } from './abort-watch.js';
import { createFloatPool, type FloatPool } from './float-pool.js';
import type { Task, TaskRequest, TaskResponse } from './task.js';
import { unpackError } from './task-error.js';

/** Settings of {@link createWorkerPool}. */
export interface WorkerPoolOptions {
  /** Threads. Default: one per core that this process may use. */
  readonly workers?: number;
  /** How many inputs {@link WorkerPool.map} may hold ready beyond those being worked on. Default: `workers`. */
  readonly maxQueued?: number;
  /** JavaScript heap of each thread in MiB; typed arrays lie outside it. Default: what Node gives. */
  readonly heapMiB?: number;
  /** The built worker file. Default: the library's own. */
  readonly workerFile?: URL;
}

/** Settings of {@link WorkerPool.run}. */
export interface RunOptions {
  /** Drops the task when queued; ends its thread when running. */
  readonly signal?: AbortSignal | undefined;
  /** Buffers of the input to move instead of copying; the caller loses them. */
  readonly transfer?: readonly ArrayBuffer[];
}

/** Settings of {@link WorkerPool.map}. */
export interface MapOptions {
  readonly signal?: AbortSignal | undefined;
  /** Called after every finished input with the number finished so far. */
  readonly onDone?: (done: number) => void;
}

/** Threads that do tasks. What comes back never depends on how many there are. */
export interface WorkerPool {
  /** Number of threads, at most: they start when work arrives. */
  readonly workers: number;
  /** Large arrays that threads work on, for whoever needs them next. */
  readonly floats: FloatPool;
  /**
   * Runs one task on one thread.
   *
   * @throws whatever the task threw, with its class and code
   * @throws InterruptedError as soon as the signal fires
   * @throws InternalError WORKER_LOST when the thread ended under the task; the pool goes on with new threads
   * @throws ResourceError OUT_OF_MEMORY when the thread's heap was full; the pool goes on with new threads
   */
  run<In, Out>(task: Task<In, Out>, input: In, options?: RunOptions): Promise<Out>;
  /**
   * Runs the task for every input and returns the outputs in the order of the inputs. Inputs are pulled one by one, never
   * more than `workers + maxQueued` ahead of the finished ones. The first failure stops the pulling; it is thrown once
   * what had been started is over. Errors as for {@link run}.
   */
  map<In, Out>(task: Task<In, Out>, inputs: Iterable<In>, options?: MapOptions): Promise<Out[]>;
  /** Ends the threads. Tasks still under way reject with {@link InterruptedError}. */
  close(): Promise<void>;
}

interface Job {
  readonly request: TaskRequest;
  readonly transfer: readonly ArrayBuffer[];
  readonly abort: AbortController;
  readonly resolve: (output: unknown) => void;
  readonly reject: (error: unknown) => void;
}

/** Opens a pool; threads start with the first tasks and do not keep the process alive once idle. */
export function createWorkerPool(options: WorkerPoolOptions = {}): WorkerPool {
  const workers = positiveInteger(options.workers ?? availableParallelism(), 'workers');
  const maxQueued = options.maxQueued ?? workers;
  const piscina = new Piscina({
    filename: fileURLToPath(options.workerFile ?? builtWorkerFile()),
    minThreads: 0,
    maxThreads: workers,
    idleTimeout: Number.POSITIVE_INFINITY,
    recordTiming: false,
    // A module under geotiff looks into it on every thread, and fails where there is none.
    workerData: {},
    ...(options.heapMiB === undefined ? {} : { resourceLimits: { maxOldGenerationSizeMb: options.heapMiB } }),
  });
  // Raised when a thread fails outside a task, above all when the worker file cannot be loaded: nobody would answer
  // the tasks that wait for it.
  piscina.on('error', (error: unknown) => {
    for (const job of running) {
      job.reject(lostWorker(error, job.request.task));
      job.abort.abort();
    }
  });
  const queue = new Set<Job>();
  const running = new Set<Job>();
  let closed = false;

  // Never hands over more tasks than there are threads, so a task that is cancelled or lost cannot strand others.
  const dispatch = (): void => {
    for (const job of queue) {
      if (running.size >= workers) return;
      queue.delete(job);
      running.add(job);
      void execute(job).finally(() => {
        running.delete(job);
        dispatch();
      });
    }
  };

  const execute = async (job: Job): Promise<void> => {
    try {
      const response: TaskResponse = await piscina.run(job.request, {
        signal: job.abort.signal,
        transferList: [...job.transfer],
      });
      if (response.kind === 'done') job.resolve(response.output);
      else job.reject(unpackError(response.error, job.request.task));
    } catch (error) {
      job.reject(job.abort.signal.aborted ? new InterruptedError() : lostWorker(error, job.request.task));
    }
  };

  const cancel = (job: Job): void => {
    queue.delete(job);
    job.abort.abort();
    job.reject(new InterruptedError());
  };

  const watch = createAbortWatch(cancel);

  const run = async <In, Out>(task: Task<In, Out>, input: In, runOptions: RunOptions = {}): Promise<Out> => {
    const { signal, transfer = [] } = runOptions;
    throwIfAborted(signal);
    if (closed) throw new InternalError(`the worker pool was closed before the task "${task.name}" was given to it`);
    const { promise, resolve, reject } = deferred<unknown>();
    const job: Job = { request: { task: task.name, input }, transfer, abort: new AbortController(), resolve, reject };
    const unwatch = signal ? watch(signal, job) : () => {};
    queue.add(job);
    dispatch();
    try {
      return (await promise) as Out;
    } finally {
      unwatch();
    }
  };

  const map = async <In, Out>(
    task: Task<In, Out>,
    inputs: Iterable<In>,
    { signal, onDone }: MapOptions = {},
  ): Promise<Out[]> => {
    throwIfAborted(signal);
    const iterator = inputs[Symbol.iterator]();
    const outputs: Out[] = [];
    let pulled = 0;
    let done = 0;
    let failure: { readonly error: unknown } | undefined;
    const lane = async (): Promise<void> => {
      try {
        while (!failure) {
          const next = iterator.next();
          if (next.done) return;
          const index = pulled++;
          outputs[index] = await run(task, next.value, { signal });
          onDone?.(++done);
        }
      } catch (error) {
        failure ??= { error };
      }
    };
    await Promise.all(Array.from({ length: workers + maxQueued }, lane));
    if (failure) {
      iterator.return?.();
      throw failure.error;
    }
    return outputs;
  };

  const close = async (): Promise<void> => {
    closed = true;
    for (const job of [...queue, ...running]) cancel(job);
    await piscina.destroy();
  };

  return { workers, floats: createFloatPool(), run, map, close };
}

/** Worker threads of every supported Node need JavaScript, so a pool that runs from the sources uses the built file. */
function builtWorkerFile(): URL {
  return new URL(import.meta.url.endsWith('.ts') ? '../../dist/worker.js' : '../worker.js', import.meta.url);
}

function lostWorker(error: unknown, task: string): Error {
  if (error instanceof Error && 'code' in error && error.code === 'ERR_WORKER_OUT_OF_MEMORY') {
    return new ResourceError(
      'OUT_OF_MEMORY',
      `a worker ran out of memory in the task "${task}"; use fewer workers or give the process more memory`,
      { cause: error },
    );
  }
  const why = error instanceof Error ? error.message : String(error);
  if (error instanceof DOMException && error.name === 'DataCloneError') {
    return new InternalError(`the input of the task "${task}" cannot cross to a worker: ${why}`, { cause: error });
  }
  return new InternalError(`a worker was lost in the task "${task}": ${why}`, { cause: error }, 'WORKER_LOST');
}

function positiveInteger(value: number, name: string): number {
  if (!Number.isInteger(value) || value < 1) {
    throw new UsageError(`"${name}" is ${value}; expected a whole number, 1 or more`);
  }
  return value;
}

function deferred<T>(): {
  readonly promise: Promise<T>;
  readonly resolve: (value: T) => void;
  readonly reject: (error: unknown) => void;
} {
  let resolve!: (value: T) => void;
  let reject!: (error: unknown) => void;
  const promise = new Promise<T>((res, rej) => {
    resolve = res;
    reject = rej;
  });
  return { promise, resolve, reject };
}
