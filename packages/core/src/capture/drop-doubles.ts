import type { LeftOut } from '../job/errors.js';
import type { Pass } from './pass.js';
import { type DoubleReason, judgeDoubles } from './time-doubles.js';

/** A pass of stills without the files that are copies of others in it; see {@link judgeDoubles}. */
export function dropDoubles<P extends Pass>(
  pass: P,
  hashes: ReadonlyMap<string, string>,
): { readonly pass: P; readonly leftOut: readonly LeftOut<DoubleReason>[] } {
  if (pass.kind === 'clip') return { pass, leftOut: [] };
  const unknown = { utc: undefined, clockMs: undefined, source: undefined, uncertaintyS: undefined };
  const leftOut = judgeDoubles(
    pass.frames.map(({ item, time }) => time ?? { item, ...unknown }),
    pass.frames.map(({ item }) => ({ file: hashes.get(item)!, pixels: undefined })),
  );
  const doubled = new Set(leftOut.map(({ item }) => item));
  return { pass: { ...pass, frames: pass.frames.filter(({ item }) => !doubled.has(item)) }, leftOut };
}
