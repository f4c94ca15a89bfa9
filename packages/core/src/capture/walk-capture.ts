import { realpath } from 'node:fs/promises';
import { basename, join } from 'node:path';
import { InputError, type LeftOut } from '../job/errors.js';
import { type Folder, readFolder } from './folder.js';
import type { CalibrationKind, LeftOutReason } from './pass.js';

/** A folder with stills or clips. */
export interface FoundFolder {
  /** Path relative to the capture, with forward slashes; empty for the capture itself. */
  readonly path: string;
  /** Names, in natural order. */
  readonly stills: readonly string[];
  readonly clips: readonly string[];
}

/** What lies where in a capture. */
export interface WalkedCapture {
  /** Folders that may hold passes, the capture itself first, then in natural order. */
  readonly folders: readonly FoundFolder[];
  readonly guide: FoundFolder | undefined;
  readonly calibration: Readonly<Partial<Record<CalibrationKind, FoundFolder>>>;
  readonly leftOut: readonly LeftOut<LeftOutReason>[];
}

/** Settings of {@link walkCapture}. */
export interface WalkOptions {
  /** Whether symbolic links are followed. */
  readonly follow: boolean;
  /** Folders that the settings name: these are entered and are what the settings say, whatever they are called. */
  readonly named: ReadonlySet<string>;
  readonly signal?: AbortSignal | undefined;
}

/** Folder of a capture that holds a picture of the whole disc, in any case. */
const GUIDE_FOLDER = 'guide';
const KINDS: readonly CalibrationKind[] = ['dark', 'flat', 'bias'];
/** Levels of folders that are entered. */
const MOST_LEVELS = 8;

/** The kind of calibration frames that a folder of this name holds, in any case. */
export function kindOf(folder: string): CalibrationKind | undefined {
  return KINDS.find((kind) => kind === folder.toLowerCase());
}

/**
 * Looks through a capture's folders, at any depth; those inside a folder of stills are left out. Throws
 * {@link InputError} `CAPTURE_UNREADABLE` when the capture itself cannot be listed; any other folder is a loss, then.
 */
export async function walkCapture(root: string, options: WalkOptions): Promise<WalkedCapture> {
  const found: Found = { folders: [], guide: undefined, calibration: {}, leftOut: [] };
  await visit(root, '', 0, options, found, new Set());
  return found;
}

interface Found {
  readonly folders: FoundFolder[];
  guide: FoundFolder | undefined;
  readonly calibration: Partial<Record<CalibrationKind, FoundFolder>>;
  readonly leftOut: LeftOut<LeftOutReason>[];
}

async function visit(
  root: string,
  path: string,
  level: number,
  options: WalkOptions,
  found: Found,
  seen: Set<string>,
): Promise<void> {
  const folder = await list(root, path, options, found, seen);
  if (!folder) return;
  const { stills, clips, folders } = folder;
  found.leftOut.push(...folder.leftOut);
  const holds = stills.length + clips.length > 0;
  if (!holds && folders.length === 0 && path !== '') found.leftOut.push(nothingIn(path));
  const special = options.named.has(path) || path === '' ? undefined : basename(path).toLowerCase();
  const kind = special === undefined ? undefined : kindOf(special);
  if (holds) {
    if (kind !== undefined) found.calibration[kind] ??= { path, stills, clips };
    else if (special === GUIDE_FOLDER && stills.length > 0) found.guide ??= { path, stills, clips };
    else found.folders.push({ path, stills, clips });
  }
  for (const name of folders) {
    const below = path === '' ? name : `${path}/${name}`;
    const inPass = path !== '' && stills.length > 0 && ![...options.named].some((n) => `${n}/`.startsWith(`${below}/`));
    if (inPass) found.leftOut.push(nested(below, 'Folders inside a pass are not searched; move them up one level.'));
    else if (level === MOST_LEVELS) found.leftOut.push(nested(below, `It lies more than ${MOST_LEVELS} folders deep.`));
    else await visit(root, below, level + 1, options, found, seen);
  }
}

async function list(
  root: string,
  path: string,
  { follow, signal }: WalkOptions,
  found: Found,
  seen: Set<string>,
): Promise<Folder | undefined> {
  try {
    const real = await realpath(join(root, path));
    if (seen.has(real)) {
      found.leftOut.push({ item: path, reason: 'link', detail: 'It leads to a folder that has been looked at.' });
      return undefined;
    }
    seen.add(real);
    return await readFolder(join(root, path), path === '' ? '' : `${path}/`, { follow, signal });
  } catch (error) {
    if (path === '' || signal?.aborted || !(error instanceof Error)) throw error;
    const detail = error instanceof InputError ? error.message : `It cannot be listed (${error.message}).`;
    found.leftOut.push({ item: path, reason: 'unreadable', detail });
    return undefined;
  }
}

function nothingIn(item: string): LeftOut<LeftOutReason> {
  return { item, reason: 'no-stills', detail: 'The folder holds no still and no clip.' };
}

function nested(item: string, detail: string): LeftOut<LeftOutReason> {
  return { item, reason: 'nested-folder', detail };
}
