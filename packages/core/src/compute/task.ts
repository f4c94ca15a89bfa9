import { type PackedError, packError } from './task-error.js';

/**
 * The name of a piece of work that any worker can do, with the types of what goes in and what comes out. Both cross to
 * another thread: plain data and typed arrays, without functions. Typed arrays in shared memory are not copied.
 */
export interface Task<In, Out> {
  /** Unique among the tasks of a worker file. */
  readonly name: string;
  /** Never set: carries the types. */
  readonly types?: (input: In) => Out;
}

/** A {@link Task} bound to the function that does it. */
export interface TaskImplementation {
  readonly name: string;
  readonly run: (input: unknown) => unknown;
}

/** What the pool posts to a worker. */
export interface TaskRequest {
  readonly task: string;
  readonly input: unknown;
}

/** What a worker posts back. */
export type TaskResponse =
  | { readonly kind: 'done'; readonly output: unknown }
  | { readonly kind: 'failed'; readonly error: PackedError };

/** Does one request after another in a worker. */
export type TaskHandler = (request: TaskRequest) => Promise<TaskResponse>;

/** Names a task. The worker file says which function does it, through {@link implement}. */
export function defineTask<In, Out>(name: string): Task<In, Out> {
  return { name };
}

/** Binds a task to its function; the compiler checks that the types agree. */
export function implement<In, Out>(
  task: Task<In, Out>,
  run: (input: NoInfer<In>) => NoInfer<Out> | Promise<NoInfer<Out>>,
): TaskImplementation {
  return { name: task.name, run: (input) => run(input as In) };
}

/**
 * The default export of a worker file: looks the task up, runs it, and packs what it throws, so that the caller gets
 * the same class and code again.
 *
 * @throws Error at start when two tasks share a name.
 */
export function createTaskHandler(implementations: readonly TaskImplementation[]): TaskHandler {
  const byName = new Map(implementations.map((implementation) => [implementation.name, implementation]));
  if (byName.size !== implementations.length) throw new Error('two tasks of a worker file share a name');
  return async ({ task, input }) => {
    try {
      const implementation = byName.get(task);
      if (!implementation) throw new Error(`the worker file implements no task named "${task}"`);
      return { kind: 'done', output: await implementation.run(input) };
    } catch (error) {
      return { kind: 'failed', error: packError(error) };
    }
  };
}
