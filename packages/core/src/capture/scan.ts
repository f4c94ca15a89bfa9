import { stat } from 'node:fs/promises';
import { basename, join, resolve } from 'node:path';
import { InputError, type LeftOut, throwIfAborted } from '../job/errors.js';
import { readClipPass } from './clip-pass.js';
import { findCalibration, kindOf } from './find-calibration.js';
import { type Folder, readFolder } from './folder.js';
import type { Capture, FrameFile, LeftOutReason, Pass } from './pass.js';
import { readStillsPass } from './stills-pass.js';

export interface ScanOptions {
  readonly signal?: AbortSignal;
}

/** Folder of a capture that holds a picture of the whole disc, in any case. */
const GUIDE_FOLDER = 'guide';
/**
 * Finds the passes of a capture, and the guide, and reads every frame's header; no pixel is decoded. Each sub-folder with a still is a
 * pass, as is each clip, there or beside it; a folder that holds stills and no such sub-folder is one pass. Everything else comes back in `leftOut`, except
 * `capture.yaml`. Order and names do not depend on the machine.
 *
 * Throws {@link InputError}: `CAPTURE_UNREADABLE` when `dir` is not a folder that can be listed, `CAPTURE_EMPTY` when
 * it holds no pass, `PASS_UNUSABLE` when no frame of a pass can be used; `InterruptedError` on abort.
 */
export async function scanCapture(dir: string, options: ScanOptions = {}): Promise<Capture> {
  const { signal } = options;
  const root = resolve(dir);
  throwIfAborted(signal);
  await requireFolder(root);
  const top = await readFolder(root, '', signal);
  const leftOut: LeftOut<LeftOutReason>[] = [...top.leftOut];
  let guide: FrameFile | null = null;
  const found: { name: string; folder: Folder; prefix: string }[] = [];
  for (const name of top.folders) {
    if (kindOf(name)) continue;
    const folder = await readFolder(join(root, name), `${name}/`, signal);
    if (name.toLowerCase() === GUIDE_FOLDER && folder.stills.length > 0) {
      const read = await readGuide(root, name, folder, signal);
      guide = read.guide;
      leftOut.push(...folder.leftOut, ...read.leftOut);
    } else if (folder.stills.length + folder.clips.length > 0) found.push({ name, folder, prefix: `${name}/` });
    else leftOut.push({ item: name, reason: 'no-stills', detail: 'The folder holds no still.' }, ...folder.leftOut);
  }
  const inFolders = found.some(({ folder }) => folder.stills.length > 0);
  if (inFolders) leftOut.push(...top.stills.map(besidePasses));
  const own = inFolders ? [] : top.stills;
  if (own.length + top.clips.length > 0)
    found.push({ name: basename(root), folder: { ...top, stills: own, folders: [], leftOut: [] }, prefix: '' });

  const passes: Pass[] = [];
  for (const { name, folder, prefix } of found) {
    leftOut.push(...folder.leftOut, ...folder.folders.map((nested) => nestedFolder(`${prefix}${nested}`)));
    if (folder.stills.length > 0) {
      const { pass, leftOut: lost } = await readStillsPass(root, prefix, name, folder.stills, signal);
      passes.push(pass);
      leftOut.push(...lost);
    }
    for (const clip of folder.clips) {
      const read = await readClipPass(root, `${prefix}${clip}`, `${prefix}${clip}`, signal);
      if (read.pass) passes.push(read.pass);
      if (read.loss) leftOut.push(read.loss);
    }
  }
  if (passes.length === 0) throw emptyCapture(root, top, leftOut);
  const calibration = await findCalibration(root, top, passes, signal);
  leftOut.push(...calibration.leftOut);
  return { root, name: basename(root), passes, guide, calibration: calibration.sets, leftOut };
}

/** The first usable still of the guide's folder; one that cannot be used is a loss and no failure. */
async function readGuide(root: string, name: string, folder: Folder, signal: AbortSignal | undefined) {
  try {
    const { pass, leftOut } = await readStillsPass(root, `${name}/`, name, folder.stills, signal);
    const [guide, ...more] = pass.frames;
    return { guide: guide ?? null, leftOut: [...leftOut, ...more.map(({ item }) => secondGuide(item))] };
  } catch (error) {
    if (!(error instanceof InputError)) throw error;
    const loss: LeftOut<LeftOutReason> = { item: name, reason: 'unreadable', detail: error.message };
    return { guide: null, leftOut: [loss] };
  }
}

function secondGuide(item: string): LeftOut<LeftOutReason> {
  return { item, reason: 'second-guide', detail: 'One picture of the whole disc is used, the first.' };
}

async function requireFolder(root: string): Promise<void> {
  const found = await stat(root).catch(() => undefined);
  if (found?.isDirectory()) return;
  const what = found === undefined ? 'does not exist or may not be read' : 'is a file';
  throw new InputError('CAPTURE_UNREADABLE', `${root} ${what}. Give the folder that holds the passes of one night.`);
}

function besidePasses(item: string): LeftOut<LeftOutReason> {
  return { item, reason: 'beside-the-passes', detail: 'It lies beside folders that hold passes; move it into one.' };
}

function nestedFolder(item: string): LeftOut<LeftOutReason> {
  return { item, reason: 'nested-folder', detail: 'Folders inside a pass are not searched; move them up one level.' };
}

function emptyCapture(root: string, top: Folder, leftOut: readonly LeftOut[]): InputError {
  const first = leftOut[0];
  const example = first === undefined ? '' : ` For one, ${first.item} was left out: ${first.detail}`;
  return new InputError(
    'CAPTURE_EMPTY',
    `${root} holds no pass (folders: ${top.folders.length}, left out: ${leftOut.length}); a pass is a clip, or a folder of ` +
      `PNG, JPEG or TIFF stills.${example} Put each pass's stills into a folder of its own inside it.`,
  );
}
