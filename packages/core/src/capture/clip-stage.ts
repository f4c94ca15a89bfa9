import { truncate, writeFile } from 'node:fs/promises';
import type { JobContext } from '../job/context.js';
import { runStage } from '../job/stage.js';
import { frameBytes, layoutOf } from './clip-layout.js';
import type { ClipPicture } from './open-clip-picture.js';
import type { ClipPass } from './pass.js';
import { runClipChild } from './run-clip-child.js';

/** A picture of a clip, or why there is none, in plain words. */
export type DecodedPicture = ClipPicture | { readonly fault: string };

/**
 * Stage: decodes a clip once, from its beginning to its end, and keeps its codes as recorded, so that any picture can be read
 * later at no cost; gives those that are frames of the pass. What a damaged clip does to the decoder costs the pictures that it has not given, and nothing else.
 */
export async function clipStage(
  context: JobContext,
  pass: ClipPass,
  hashes: ReadonlyMap<string, string>,
): Promise<DecodedPicture[]> {
  const { clip: facts, frames, name } = pass;
  const bytes = frameBytes(layoutOf(facts.pixelFormat)!, facts.widthPx, facts.heightPx);
  const artefact = await runStage(context, {
    name: 'clip',
    subject: name,
    key: { clip: hashes.get(frames[0]!.item)!, facts },
    total: facts.count,
    unit: 'frames',
    needBytes: bytes * facts.count,
    run: async (handle) => {
      const into = handle.path(CODES_FILE);
      await writeFile(into, '');
      await truncate(into, bytes * facts.count);
      const states: ('whole' | 'faulty' | null)[] = new Array(facts.count).fill(null);
      let done = 0;
      const failure = await runClipChild(
        { kind: 'pictures', path: frames[0]!.path, threads: context.pool.workers, facts, into },
        (answer) => {
          if (answer.kind !== 'picture') return;
          states[answer.index] = answer.faulty ? 'faulty' : 'whole';
          handle.step(++done);
        },
        context.signal,
      );
      return { states, failure: failure ?? null };
    },
  });
  const { states, failure } = artefact.result;
  const codes = artefact.path(CODES_FILE);
  return frames.map(({ picture }, k) => {
    const i = picture ?? k;
    const state = states[i];
    if (state === 'whole') return { codes, at: i * bytes, facts };
    if (state === 'faulty') return { fault: 'its data is damaged: the decoder has found faults in it' };
    return { fault: failure ?? 'its data is damaged or cut short: the decoder gives no picture for it' };
  });
}

const CODES_FILE = 'codes.raw';
