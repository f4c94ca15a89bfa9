import { createFloats } from './image.js';

/**
 * Arrays in shared memory that are used again. What workers have seen stays in memory until all of them have cleared up,
 * which may take as long as the run; so large arrays are given back rather than let go.
 */
export interface FloatPool {
  /** An array of this length; its content is whatever was left in it. */
  take(length: number): Float32Array;
  /** Gives arrays back that nobody uses any more. */
  give(arrays: readonly Float32Array[]): void;
}

/** A pool that keeps what is given back. */
export function createFloatPool(): FloatPool {
  const free = new Map<number, Float32Array[]>();
  return {
    take: (length) => free.get(length)?.pop() ?? createFloats(length, true),
    give: (arrays) => {
      for (const array of arrays) {
        const list = free.get(array.length) ?? [];
        list.push(array);
        free.set(array.length, list);
      }
    },
  };
}
