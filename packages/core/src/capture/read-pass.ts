import { InputError, type LeftOut } from '../job/errors.js';
import type { ChosenPass } from './choose-passes.js';
import { readClipPass } from './clip-pass.js';
import { ignoredFrames } from './ignored-frames.js';
import type { LeftOutReason, Notice, Pass } from './pass.js';
import type { Encoding } from './reading.js';
import { readStillsPass } from './stills-pass.js';

/** A pass as its files are, and what was not used; `failure` says why there is none. */
export interface ReadPass {
  readonly pass: Pass | undefined;
  readonly leftOut: readonly LeftOut<LeftOutReason>[];
  readonly notices: readonly Notice[];
  readonly failure?: InputError;
}

/** Reads the headers of what was chosen as a pass; no pixel is decoded. */
export async function readPass(
  root: string,
  chosen: ChosenPass,
  encoding: Encoding,
  signal?: AbortSignal,
): Promise<ReadPass> {
  return (chosen.kind === 'clip' ? readClip : readStills)(root, chosen, encoding, signal);
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
  const losses = [...ignored].map((i) => lossOf(`${prefix}${stills[i]}`));
  const leftOut = [...read.leftOut, ...losses];
  return read.pass ? { ...read, leftOut } : unusable(chosen, leftOut);
}

async function readClip(root: string, chosen: ChosenPass, encoding: Encoding, signal?: AbortSignal): Promise<ReadPass> {
  const { pass, loss } = await readClipPass(root, chosen.path, chosen.name, encoding, signal);
  const leftOut = loss ? [loss] : [];
  if (!pass) return { pass, leftOut, notices: [] };
  const items = pass.frames.map(({ item }) => item);
  const ignored = ignoredFrames(items, chosen.settings.ignoreFrames ?? [], chosen.name);
  const frames = pass.frames.filter((_, i) => !ignored.has(i));
  const losses = [...leftOut, ...[...ignored].map((i) => lossOf(items[i]!))];
  return frames.length > 0 ? { pass: { ...pass, frames }, leftOut: losses, notices: [] } : unusable(chosen, losses);
}

function unusable({ name, path }: ChosenPass, leftOut: readonly LeftOut<LeftOutReason>[]): ReadPass {
  const failure = noUsableFrame(name, leftOut);
  const loss = { item: path || name, reason: 'no-usable-frame' as const, detail: failure.message };
  return { pass: undefined, leftOut: [...leftOut, loss], notices: [], failure };
}

/** The failure that a pass is of which no frame is left, with what its first frame lacks. */
export function noUsableFrame(name: string, leftOut: readonly LeftOut[]): InputError {
  const example = leftOut[0] ? ` For one, ${leftOut[0].item}: ${leftOut[0].detail}` : '';
  return new InputError(
    'PASS_UNUSABLE',
    `No frame of the pass ${name} can be used (left out: ${leftOut.length}).${example} Replace them, or move the pass out of the capture.`,
  );
}

function lossOf(item: string): LeftOut<LeftOutReason> {
  return { item, reason: 'ignored', detail: 'The settings say so.' };
}
