import type { ProgressListener, ProgressUnit } from './progress.js';

/** Work that is told as a stage. */
export interface ToldStage {
  readonly stage: string;
  /** Where a stage runs several times: what this one works on. */
  readonly subject?: string;
  readonly total: number;
  readonly unit: ProgressUnit;
}

/** Does work that leaves no artefact, and tells of it as of a stage. `work` is given what reports how much is done. */
export async function tellStage<T>(
  onProgress: ProgressListener,
  { total, unit, ...told }: ToldStage,
  work: (step: (done: number) => void) => Promise<T>,
): Promise<T> {
  const startedMs = performance.now();
  onProgress({ kind: 'stage-start', ...told, total, unit });
  const result = await work((done) => onProgress({ kind: 'stage-step', ...told, done, total }));
  onProgress({ kind: 'stage-end', ...told, elapsedMs: performance.now() - startedMs, resumed: false });
  return result;
}
