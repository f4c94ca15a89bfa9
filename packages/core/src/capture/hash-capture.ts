import type { JobContext } from '../job/context.js';
import { mapBounded } from './bounded.js';
import { sha256File } from './hash.js';
import type { Capture } from './pass.js';

/** SHA-256 of every frame file of a capture, by item: what the later stages' artefacts are named after. */
export async function hashCapture(
  context: Pick<JobContext, 'signal' | 'onProgress'>,
  capture: Capture,
): Promise<ReadonlyMap<string, string>> {
  const frames = capture.passes.flatMap((pass) => pass.frames);
  const hashes = await mapBounded(
    frames,
    OPEN_FILES,
    (frame) => sha256File(frame.path, context.signal),
    context.signal,
  );
  return new Map(frames.map((frame, i) => [frame.item, hashes[i]!]));
}

const OPEN_FILES = 4;
