import { basename } from 'node:path';
import { InputError, type LeftOut } from '../job/errors.js';
import { compareNames } from './natural-order.js';
import type { LeftOutReason } from './pass.js';
import { nearestName } from './settings-nearest.js';
import { SETTINGS_FILE } from './settings-read.js';
import type { CaptureSettings, PassSettings } from './settings-types.js';
import type { FoundFolder, WalkedCapture } from './walk-capture.js';

/** A folder of stills or a clip that is to be read as a pass or as the guide. */
export interface ChosenPass {
  readonly name: string;
  readonly kind: 'stills' | 'clip';
  /** Path relative to the capture of the folder, or of the clip. */
  readonly path: string;
  /** Names of the stills, in natural order. */
  readonly stills: readonly string[];
  /** What the settings say of it. */
  readonly settings: PassSettings;
  /** Whether the settings name it. */
  readonly listed: boolean;
}

/** What a capture's folders and clips are for. */
export interface ChosenPasses {
  readonly passes: readonly ChosenPass[];
  readonly guide: ChosenPass | undefined;
  readonly leftOut: readonly LeftOut<LeftOutReason>[];
}

/**
 * Decides what is a pass, and in which order: what the settings list, as they list it, then everything else in natural
 * order. Throws {@link InputError} `SETTINGS_INVALID` when they name what is not there.
 */
export function choosePasses(root: string, walked: WalkedCapture, settings: CaptureSettings): ChosenPasses {
  const found = walked.folders.flatMap((folder) => candidatesIn(root, folder));
  const all = found.sort((a, b) => compareNames(a.path, b.path));
  const listed = (settings.passes ?? []).map((entry) => claim(entry, all));
  const leftOut: LeftOut<LeftOutReason>[] = [];
  const rest: ChosenPass[] = [];
  const others = all.filter((one) => !listed.some((chosen) => sameAs(chosen, one)));
  const inFolders = all.some(({ kind, path }) => kind === 'stills' && path !== '');
  for (const one of others) {
    if (settings.onlyListed) leftOut.push(notListed(one));
    else if (one.kind === 'stills' && one.path === '' && inFolders) leftOut.push(...besidePasses(one));
    else rest.push(one);
  }
  for (const one of listed) if (one.settings.role === 'ignore') leftOut.push(ignored(one));
  const guides = listed.filter(({ settings: { role } }) => role === 'guide');
  const guide = guides[0] ?? (walked.guide && candidatesIn(root, walked.guide)[0]);
  for (const one of guides.slice(1)) leftOut.push({ ...ignored(one), reason: 'second-guide' });
  const passes = [...listed.filter(({ settings: { role = 'pass' } }) => role === 'pass'), ...rest];
  return { passes, guide, leftOut };
}

function candidatesIn(root: string, { path, stills, clips }: FoundFolder): ChosenPass[] {
  const found: ChosenPass[] = [];
  const common = { settings: {}, listed: false };
  if (stills.length > 0) found.push({ ...common, kind: 'stills', path, stills, name: path || basename(root) });
  for (const clip of clips) {
    const item = path === '' ? clip : `${path}/${clip}`;
    found.push({ ...common, kind: 'clip', path: item, stills: [], name: item });
  }
  return found;
}

function sameAs(a: ChosenPass, b: ChosenPass): boolean {
  return a.kind === b.kind && a.path === b.path;
}

function claim(entry: PassSettings, all: readonly ChosenPass[]): ChosenPass {
  const kind = entry.clip === undefined ? 'stills' : 'clip';
  const written = (entry.clip ?? entry.folder)!;
  const path = written === '.' ? '' : written;
  const found = all.find((one) => one.kind === kind && one.path === path);
  if (found) return { ...found, name: entry.name ?? found.name, settings: entry, listed: true };
  const near = nearestName(
    path,
    all.filter((one) => one.kind === kind).map((one) => one.path),
  );
  const what = kind === 'clip' ? 'clip' : 'folder with stills';
  const hint = near === undefined ? 'Name what is there, or take the entry out.' : `Did you mean "${near}"?`;
  throw new InputError(
    'SETTINGS_INVALID',
    `${SETTINGS_FILE} lists "${written}", but no such ${what} is there. ${hint}`,
  );
}

function notListed({ path, name }: ChosenPass): LeftOut<LeftOutReason> {
  return { item: path || name, reason: 'not-listed', detail: `${SETTINGS_FILE} says that only listed passes count.` };
}

function ignored({ path, name }: ChosenPass): LeftOut<LeftOutReason> {
  return { item: path || name, reason: 'ignored', detail: `${SETTINGS_FILE} says so.` };
}

function besidePasses({ stills }: ChosenPass): LeftOut<LeftOutReason>[] {
  return stills.map((item) => ({
    item,
    reason: 'beside-the-passes',
    detail: 'It lies beside folders that hold passes; move it into one.',
  }));
}
