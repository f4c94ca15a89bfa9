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

/** A pool that keeps what is given back. Arrays of about the same length share their room. */
export function createFloatPool(): FloatPool {
  const free = new Map<number, Float32Array[]>();
  return {
    take: (length) => {
      const room = roomFor(length);
      return (free.get(room)?.pop() ?? createFloats(room, true)).subarray(0, length);
    },
    give: (arrays) => {
      for (const array of arrays) {
        const whole = new Float32Array(array.buffer);
        const list = free.get(whole.length) ?? [];
        list.push(whole);
        free.set(whole.length, list);
      }
    },
  };
}

/** The next larger of lengths that lie about an eighth apart. */
function roomFor(length: number): number {
  const step = 2 ** Math.max(0, Math.floor(Math.log2(Math.max(1, length))) - 3);
  return Math.ceil(length / step) * step;
}
