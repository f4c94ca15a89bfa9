import { InputError, type LeftOut } from '../job/errors.js';
import type { ChosenPass } from './choose-passes.js';
import { readClipPass } from './clip-pass.js';
import { ignoredFrames } from './ignored-frames.js';
import type { LeftOutReason, Pass } from './pass.js';
import type { Encoding } from './reading.js';
import { readStillsPass } from './stills-pass.js';

/** A pass as its files are, and what was not used; `failure` says why there is none. */
export interface ReadPass {
  readonly pass: Pass | undefined;
  readonly leftOut: readonly LeftOut<LeftOutReason>[];
  readonly failure?: InputError;
}

/** Reads the headers of what was chosen as a pass; no pixel is decoded. */
export async function readPass(
  root: string,
  chosen: ChosenPass,
  encoding: Encoding,
  signal?: AbortSignal,
): Promise<ReadPass> {
  try {
    return await (chosen.kind === 'clip' ? readClip : readStills)(root, chosen, encoding, signal);
  } catch (error) {
    if (!(error instanceof InputError) || error.code !== 'PASS_UNUSABLE') throw error;
    const loss = { item: chosen.path || chosen.name, reason: 'no-usable-frame' as const, detail: error.message };
    return { pass: undefined, leftOut: [loss], failure: error };
  }
}

async function readStills(
  root: string,
  chosen: ChosenPass,
  encoding: Encoding,
  signal?: AbortSignal,
): Promise<ReadPass> {
  const { path, name, stills, settings } = chosen;
  const prefix = path === '' ? '' : `${path}/`;
  const ignored = ignoredFrames(stills, settings.ignoreFrames ?? [], name);
  const kept = stills.filter((_, i) => !ignored.has(i));
  const read = await readStillsPass(root, prefix, name, kept, encoding, signal);
  return { pass: read.pass, leftOut: [...read.leftOut, ...[...ignored].map((i) => lossOf(`${prefix}${stills[i]}`))] };
}

async function readClip(root: string, chosen: ChosenPass, encoding: Encoding, signal?: AbortSignal): Promise<ReadPass> {
  const { pass, loss } = await readClipPass(root, chosen.path, chosen.name, encoding, signal);
  const leftOut = loss ? [loss] : [];
  if (!pass) return { pass, leftOut };
  const items = pass.frames.map(({ item }) => item);
  const ignored = ignoredFrames(items, chosen.settings.ignoreFrames ?? [], chosen.name);
  const frames = pass.frames.filter((_, i) => !ignored.has(i));
  if (frames.length === 0) {
    throw new InputError('PASS_UNUSABLE', `The settings leave no frame of the pass "${chosen.name}".`);
  }
  return { pass: { ...pass, frames }, leftOut: [...leftOut, ...[...ignored].map((i) => lossOf(items[i]!))] };
}

function lossOf(item: string): LeftOut<LeftOutReason> {
  return { item, reason: 'ignored', detail: 'The settings say so.' };
}
