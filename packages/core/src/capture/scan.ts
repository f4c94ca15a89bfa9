import { stat } from 'node:fs/promises';
import { basename, resolve } from 'node:path';
import { InputError, type LeftOut, throwIfAborted } from '../job/errors.js';
import { calibrationNotices } from './calibration-notices.js';
import { type ChosenPass, type ChosenPasses, choosePasses } from './choose-passes.js';
import { encodingOf } from './encoding-settings.js';
import { findCalibration } from './find-calibration.js';
import type { Capture, Guide, LeftOutReason, Notice, Pass } from './pass.js';
import { timePass } from './pass-times.js';
import { readPass } from './read-pass.js';
import type { RecordedCurve } from './read-still.js';
import { readSettings } from './settings-read.js';
import type { CaptureSettings } from './settings-types.js';
import { splitPass } from './split-pass.js';
import { readStillsPass } from './stills-pass.js';
import { type WalkedCapture, walkCapture } from './walk-capture.js';

export interface ScanOptions {
  /** Goes before what `capture.yaml` says of curves and tables. */
  readonly curve?: RecordedCurve | undefined;
  /** Whether symbolic links are followed. Default false. */
  readonly follow?: boolean | undefined;
  /** Whether a folder without a pass is a capture all the same, one to be. Default false. */
  readonly mayBeEmpty?: boolean | undefined;
  readonly signal?: AbortSignal | undefined;
}

/**
 * Finds the passes of a capture, its guide and its calibration frames, and reads every frame's header; no pixel is
 * decoded. What `capture.yaml` says goes first. Each folder with a still, at any depth, is a pass, as is each clip;
 * stills beside folders of stills are left out. One folder of everything is parted where frames lie far apart in time,
 * and is marked to be parted where the view jumps, which takes pixels.
 * Everything else comes back in `leftOut`. Order and names do not depend on the machine.
 *
 * Throws {@link InputError}: `CAPTURE_UNREADABLE` when `dir` is not a folder that can be listed, `SETTINGS_INVALID`,
 * `TABLE_UNREADABLE`, `CAPTURE_EMPTY` when it holds no pass and `mayBeEmpty` is not set, `PASS_UNUSABLE` when no frame of any pass can be used;
 * `InterruptedError` on abort.
 */
export async function scanCapture(dir: string, options: ScanOptions = {}): Promise<Capture> {
  const { signal, follow = false, mayBeEmpty = false, curve } = options;
  const root = resolve(dir);
  throwIfAborted(signal);
  await requireFolder(root);
  const settings = await readSettings(root);
  const walked = await walkCapture(root, { follow, named: namedFolders(settings), signal });
  const free = withoutCalibration(walked, settings);
  const chosen = choosePasses(root, free, settings);
  const leftOut: LeftOut<LeftOutReason>[] = [...walked.leftOut, ...chosen.leftOut];
  const notices: Notice[] = [];
  const passes: Pass[] = [];
  const failures: InputError[] = [];
  for (const one of chosen.passes) {
    const encoding = await encodingOf(root, [settings.encoding, one.settings.encoding], curve);
    const read = await readPass(root, one, encoding, signal);
    leftOut.push(...read.leftOut);
    notices.push(...read.notices);
    if (read.failure) failures.push(read.failure);
    if (!read.pass) continue;
    const parted = partPass(read.pass, one, chosen, settings);
    passes.push(...parted.passes);
    notices.push(...parted.notices);
  }
  if (passes.length === 0 && failures[0]) throw failures[0];
  if (passes.length === 0 && !mayBeEmpty) throw emptyCapture(root, walked, leftOut);
  const encoding = await encodingOf(root, [settings.encoding], curve);
  const guide = await readGuide(root, chosen.guide, settings, options);
  const calibration = await findCalibration({ root, walked, settings: settings.calibration, encoding, signal }, passes);
  notices.push(...calibrationNotices(calibration.sets, passes));
  leftOut.push(...guide.leftOut, ...calibration.leftOut);
  const { sets } = calibration;
  return { root, name: basename(root), settings, passes, guide: guide.guide, calibration: sets, leftOut, notices };
}

/** Gives frames their moments and parts the one folder of everything, or those that the settings ask to be parted. */
function partPass(
  pass: Pass,
  { settings: own, listed }: ChosenPass,
  { passes }: ChosenPasses,
  { site, split }: CaptureSettings,
): { passes: readonly Pass[]; notices: readonly Notice[] } {
  const timed = timePass(pass, { site, start: own.start });
  const alone = passes.filter(({ kind }) => kind === 'stills').length === 1;
  const parts = split === undefined ? alone : split !== false;
  // The camera may have gone on while it was pointed anew.
  if (timed.pass.kind === 'clip')
    return { passes: [{ ...timed.pass, mixed: split !== false }], notices: timed.notices };
  if (listed || !parts) return { passes: [timed.pass], notices: timed.notices };
  const parted = splitPass({ ...timed.pass, mixed: true }, split ? split.gapS : undefined);
  return { passes: parted.passes, notices: [...timed.notices, ...parted.notices] };
}

/** Folders that the settings name, and those that clips which they name lie in. */
function namedFolders({ passes = [], calibration = {} }: CaptureSettings): ReadonlySet<string> {
  const folders = passes.flatMap(({ folder }) => (folder === undefined ? [] : [folder === '.' ? '' : folder]));
  const clips = [...passes.map(({ clip }) => clip), ...Object.values(calibration)];
  const around = clips.flatMap((path) =>
    typeof path === 'string' ? [path, path.slice(0, path.lastIndexOf('/') + 1)] : [],
  );
  return new Set([...folders, ...around.map((path) => path.replace(/\/$/, ''))]);
}

/** What lies where, without what the settings name as calibration frames. */
function withoutCalibration(walked: WalkedCapture, { calibration = {} }: CaptureSettings): WalkedCapture {
  const named = new Set(Object.values(calibration).filter((path) => typeof path === 'string'));
  const folders = walked.folders
    .filter(({ path }) => !named.has(path))
    .map((folder) => {
      const at = folder.path === '' ? '' : `${folder.path}/`;
      return { ...folder, clips: folder.clips.filter((clip) => !named.has(`${at}${clip}`)) };
    });
  return { ...walked, folders };
}

/** The first usable still of the guide's folder; one that cannot be used is a loss and no failure. */
async function readGuide(
  root: string,
  chosen: ChosenPass | undefined,
  settings: CaptureSettings,
  { curve, signal }: ScanOptions,
): Promise<{ guide: Guide | null; leftOut: readonly LeftOut<LeftOutReason>[] }> {
  if (!chosen) return { guide: null, leftOut: [] };
  const { path, name, kind, stills } = chosen;
  if (kind === 'clip') {
    const loss = {
      item: path,
      reason: 'unreadable' as const,
      detail: 'A guide is a still; export one of its pictures.',
    };
    return { guide: null, leftOut: [loss] };
  }
  const encoding = await encodingOf(root, [settings.encoding, chosen.settings.encoding], curve);
  try {
    const { pass, leftOut } = await readStillsPass(root, path === '' ? '' : `${path}/`, name, stills, encoding, signal);
    const [guide, ...more] = pass?.frames ?? [];
    return {
      guide: guide ? { ...guide, encoding } : null,
      leftOut: [...leftOut, ...more.map(({ item }) => secondGuide(item))],
    };
  } catch (error) {
    if (!(error instanceof InputError)) throw error;
    return { guide: null, leftOut: [{ item: path, reason: 'unreadable', detail: error.message }] };
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

function emptyCapture(root: string, walked: WalkedCapture, leftOut: readonly LeftOut[]): InputError {
  const first = leftOut[0];
  const example = first === undefined ? '' : ` For one, ${first.item} was left out: ${first.detail}`;
  return new InputError(
    'CAPTURE_EMPTY',
    `${root} holds no pass (folders with frames: ${walked.folders.length}, left out: ${leftOut.length}); a pass is a clip, ` +
      `or a folder of stills.${example} Put each pass's stills into a folder of its own inside it.`,
  );
}
