import { stat } from 'node:fs/promises';
import { join } from 'node:path';
import type { LeftOut } from '../job/errors.js';
import type { ClipFacts } from './clip-facts.js';
import { layoutOf } from './clip-layout.js';
import { planClip } from './clip-light.js';
import type { ClipPass, FrameFile, LeftOutReason } from './pass.js';
import type { Encoding } from './reading.js';
import { runClipChild } from './run-clip-child.js';
import { CLIP_ADVICE } from './sniff.js';
import { MOST_PIXELS } from './still-header.js';

/**
 * Reads what a clip says of itself; no picture is decoded. `item` is its path relative to the capture; every picture gets
 * a name of its own from it and its number, counted from 1. A clip that cannot be used, or has lost its end, is a loss.
 */
export async function readClipPass(
  root: string,
  item: string,
  name: string,
  encoding: Encoding,
  signal?: AbortSignal,
): Promise<{ readonly pass?: ClipPass; readonly loss?: LeftOut<LeftOutReason> }> {
  const path = join(root, item);
  const lost = (detail: string) => ({
    loss: { item, reason: 'unreadable' as const, detail: `${detail}. ${CLIP_ADVICE}` },
  });
  let facts: ClipFacts | undefined;
  const onAnswer = (answer: { kind: string; facts?: ClipFacts }): void => {
    if (answer.kind === 'facts') facts = answer.facts;
  };
  const failure = await runClipChild({ kind: 'facts', path }, onAnswer, signal);
  if (!facts) return lost(sentence(failure ?? 'the decoder has not answered'));
  const refusal = refusalOf(facts, encoding);
  if (refusal !== undefined) return lost(sentence(refusal));
  const { size, mtime } = await stat(path);
  const frames = Array.from({ length: facts.count }, (_, i): FrameFile => {
    const number = String(i + 1).padStart(4, '0');
    return { item: `${item}#${number}`, path, sizeBytes: size, modified: mtime.toISOString(), picture: i };
  });
  const turned = facts.turnDeg % 180 !== 0;
  const pass: ClipPass = {
    kind: 'clip',
    name,
    frames,
    widthPx: turned ? facts.heightPx : facts.widthPx,
    heightPx: turned ? facts.widthPx : facts.heightPx,
    channels: layoutOf(facts.pixelFormat)!.kind === 'grey' ? 1 : 3,
    encoding,
    clip: facts,
  };
  return facts.count + SPARE < facts.announced ? { pass, loss: cutShort(item, facts) } : { pass };
}

/** Pictures by which length and rate may be out. */
const SPARE = 1;

function cutShort(item: string, { count, announced }: ClipFacts): LeftOut<LeftOutReason> {
  return { item, reason: 'cut-short', detail: `The file ends early: of ${announced} pictures ${count} are there.` };
}

function refusalOf(facts: ClipFacts, encoding: Encoding): string | undefined {
  const { widthPx, heightPx, count, pixelFormat, interlaced } = facts;
  if (!(widthPx > 0 && heightPx > 0)) return 'it does not say how large its pictures are';
  if (widthPx * heightPx > MOST_PIXELS)
    return `it announces ${widthPx} x ${heightPx} pixels; at most ${MOST_PIXELS} are read`;
  if (count === 0) return 'it holds no picture';
  if (interlaced) return 'it is interlaced: each picture shows two moments';
  if (!layoutOf(pixelFormat)) return `its pixels are stored as ${pixelFormat}, which is not read`;
  const plan = planClip(facts, encoding);
  return typeof plan === 'string' ? plan : undefined;
}

function sentence(text: string): string {
  return `${text[0]!.toUpperCase()}${text.slice(1)}`;
}
