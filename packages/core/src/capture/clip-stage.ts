import { truncate, writeFile } from 'node:fs/promises';
import type { JobContext } from '../job/context.js';
import { runStage } from '../job/stage.js';
import type { ClipFacts, PictureFacts, RawPictures, StoredRows } from './clip-facts.js';
import { type ClipLayout, frameBytes, layoutOf, planeSize } from './clip-layout.js';
import type { ClipPicture } from './clip-window.js';
import type { ClipPass } from './pass.js';
import { runClipChild } from './run-clip-child.js';

/** A picture of a clip, or why there is none, in plain words. */
export type DecodedPicture = ClipPicture | { readonly fault: string };

/**
 * Pictures of a clip that keeps their codes as they are lie where they lie. Of others, stage: decodes a clip once, from its beginning to its end, and keeps its codes as recorded, so that any picture can be read
 * later at no cost; gives those that are frames of the pass. What a damaged clip does to the decoder costs the pictures that it has not given, and nothing else.
 */
export async function clipStage(
  context: JobContext,
  pass: ClipPass,
  hashes: ReadonlyMap<string, string>,
): Promise<DecodedPicture[]> {
  const { clip: facts, frames, name } = pass;
  if (facts.raw) return inTheClip(pass, facts.raw);
  const layout = layoutOf(facts.pixelFormat)!;
  const bytes = frameBytes(layout, facts.widthPx, facts.heightPx);
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
  const rows = rowsAsKept(layout, facts.widthPx);
  const own = factsOfPicture(facts);
  return frames.map(({ picture }, k) => {
    const i = picture ?? k;
    const state = states[i];
    if (state === 'whole') return { codes, at: i * bytes, rows, facts: own };
    if (state === 'faulty') return { fault: 'its data is damaged: the decoder has found faults in it' };
    return { fault: failure ?? NO_PICTURE };
  });
}

const NO_PICTURE = 'its data is damaged or cut short: the decoder gives no picture for it';

function inTheClip({ clip, frames }: ClipPass, { at, rows }: RawPictures): DecodedPicture[] {
  const facts = factsOfPicture(clip);
  return frames.map(({ path, picture }, k) => {
    const place = at[picture ?? k] ?? null;
    return place === null ? { fault: NO_PICTURE } : { codes: path, at: place, rows, facts };
  });
}

/** Lists of all pictures do not go with each of them. */
function factsOfPicture({ times: _, raw: __, ...facts }: ClipFacts): PictureFacts {
  return facts;
}

/** Planes without gaps, top row first. */
function rowsAsKept(layout: ClipLayout, width: number): StoredRows {
  const strides = layout.planes.map((_, p) => planeSize(layout, p, width, 1)[0] * layout.bytes);
  return { strides, lowestFirst: false };
}

const CODES_FILE = 'codes.raw';
