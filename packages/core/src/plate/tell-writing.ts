import { basename } from 'node:path';
import type { ProgressListener } from '../job/progress.js';
import { tellStage } from '../job/tell-stage.js';
import { countReads, type PlateSource } from './plate-source.js';

/** What every writer of a plate's files is told. */
export interface Writing {
  readonly force: boolean;
  readonly signal?: AbortSignal;
  /** Default: nobody is told. */
  readonly onProgress?: ProgressListener;
}

/**
 * Writes a file and tells of it as of a stage `write`, by the pixels that are read of `source`, which is handed on for
 * that. Throws what `write` throws.
 */
export async function tellWriting<T>(
  { onProgress = () => {} }: Writing,
  path: string,
  source: PlateSource,
  write: (source: PlateSource) => Promise<T>,
): Promise<T> {
  const total = source.width * source.height;
  const told = { stage: 'write', subject: basename(path), total, unit: 'pixels' } as const;
  return tellStage(onProgress, told, (step) => write(countReads(source, (pixels) => step(Math.min(pixels, total)))));
}
