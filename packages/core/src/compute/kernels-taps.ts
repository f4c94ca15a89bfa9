import type { KernelScope } from './kernels.js';

/** Weights of the six samples at −2 … 3 for the value at k/steps, six numbers for each k = 0 … steps. */
export interface TapTable {
  readonly weights: Float64Array;
  readonly steps: number;
}

/** Brings a table in as the kernels read it (packages/core/kernels/taps.ts); returns its address. */
export function putTaps(scope: KernelScope, table: TapTable): number {
  return scope.put(packed(table)).address;
}

const PACKED = 8;
const known = new WeakMap<Float64Array, Float32Array>();

function packed({ weights, steps }: TapTable): Float32Array {
  const before = known.get(weights);
  if (before) return before;
  if (weights.length !== 6 * (steps + 1))
    throw new RangeError(`a table of ${steps} steps holds ${6 * (steps + 1)} weights, got ${weights.length}`);
  // One entry more: reading between the last one and the next one is harmless.
  const out = new Float32Array(PACKED * (steps + 2));
  for (let k = 0; k <= steps; k++) out.set(weights.subarray(6 * k, 6 * k + 6), PACKED * k);
  known.set(weights, out);
  return out;
}
