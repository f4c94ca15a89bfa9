import { stat } from 'node:fs/promises';
import { join } from 'node:path';
import type { StageContext } from '../job/context.js';
import { InputError, type LeftOut } from '../job/errors.js';
import { tellStage } from '../job/tell-stage.js';
import { mapBounded } from './bounded.js';
import { sha256File } from './hash.js';
import { type Capture, filesOf } from './pass.js';

/**
 * SHA-256 of every frame file of a capture and of its guide, by item: what the later stages' artefacts are named after.
 * Throws {@link InputError} `CAPTURE_CHANGED` when one has gone.
 */
export async function hashCapture(
  { signal, onProgress }: Pick<StageContext, 'signal' | 'onProgress'>,
  capture: Capture,
): Promise<ReadonlyMap<string, string>> {
  const frames = filesOf(capture);
  const hash = async (path: string, onRead: (bytes: number) => void): Promise<string> => {
    try {
      return await sha256File(path, signal, onRead);
    } catch (error) {
      if (!(error instanceof Error && 'code' in error && error.code === 'ENOENT')) throw error;
      const message = `${path} has gone while the capture was being read. Run again once nothing writes into it.`;
      throw new InputError('CAPTURE_CHANGED', message, { cause: error });
    }
  };
  const sizes = new Map(frames.map(({ path, sizeBytes }) => [path, sizeBytes]));
  const paths = [...sizes.keys()];
  const total = [...sizes.values()].reduce((sum, bytes) => sum + bytes, 0);
  const hashes = await tellStage(onProgress, { stage: 'hash', total, unit: 'bytes' }, (step) => {
    let done = 0;
    const onRead = (bytes: number): void => {
      done += bytes;
      step(Math.min(done, total));
    };
    return mapBounded(paths, OPEN_FILES, (path) => hash(path, onRead), signal);
  });
  const byPath = new Map(paths.map((path, i) => [path, hashes[i]!]));
  return new Map(frames.map(({ item, path }) => [item, byPath.get(path)!]));
}

/** Adds the SHA-256 of each loss that is a readable plain file. */
export async function hashLeftOut(
  root: string,
  losses: readonly LeftOut[],
  signal?: AbortSignal,
): Promise<(LeftOut & { readonly sha256?: string })[]> {
  return mapBounded(
    losses,
    OPEN_FILES,
    async (loss) => {
      if (loss.reason === 'link') return loss;
      const path = join(root, loss.item);
      const readable = await stat(path).then(
        (s) => s.isFile(),
        () => false,
      );
      if (!readable) return loss;
      const sha256 = await sha256File(path, signal).catch((error: unknown) => {
        if (signal?.aborted) throw error;
        return undefined;
      });
      return sha256 === undefined ? loss : { ...loss, sha256 };
    },
    signal,
  );
}

const OPEN_FILES = 4;
