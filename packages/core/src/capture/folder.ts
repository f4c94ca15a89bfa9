import type { Dirent } from 'node:fs';
import { open, readdir, stat } from 'node:fs/promises';
import { join } from 'node:path';
import { InputError, type LeftOut } from '../job/errors.js';
import { mapBounded } from './bounded.js';
import { compareNames } from './natural-order.js';
import type { LeftOutReason } from './pass.js';
import { SETTINGS_FILE } from './settings-read.js';
import { adviceFor, hasStillExtension, sniffFile } from './sniff.js';

/** A folder's entries, sorted into what they are. Names only, in natural order. */
export interface Folder {
  readonly stills: readonly string[];
  readonly clips: readonly string[];
  readonly folders: readonly string[];
  readonly leftOut: readonly LeftOut<LeftOutReason>[];
}

/** Settings of {@link readFolder}. */
export interface FolderOptions {
  /** Whether symbolic links are followed. Default false. */
  readonly follow?: boolean;
  readonly signal?: AbortSignal | undefined;
}

/** Files that are opened at once. */
export const OPEN_FILES = 8;

/**
 * Lists a folder and tells stills and clips from everything else by signature, and by name where the signature says nothing.
 * `prefix` goes before names in what is left out: the folder's path relative to the capture, with a trailing slash.
 * Nothing but plain files is opened. Throws {@link InputError} `CAPTURE_UNREADABLE` when the folder cannot be listed.
 */
export async function readFolder(path: string, prefix: string, options: FolderOptions = {}): Promise<Folder> {
  const { follow = false, signal } = options;
  const entries = await list(path);
  const kinds = await mapBounded(entries, OPEN_FILES, (entry) => judge(path, prefix, entry, follow), signal);
  const named = (kind: Kind): string[] => entries.filter((_, i) => kinds[i] === kind).map((entry) => entry.name);
  return {
    stills: named('still'),
    clips: named('clip'),
    folders: named('folder'),
    leftOut: kinds.filter((kind) => typeof kind === 'object'),
  };
}

type Kind = 'still' | 'clip' | 'folder' | 'expected';

async function list(path: string): Promise<Dirent[]> {
  try {
    const entries = await readdir(path, { withFileTypes: true });
    return entries.sort((a, b) => compareNames(a.name, b.name));
  } catch (cause) {
    throw new InputError(
      'CAPTURE_UNREADABLE',
      `${path} cannot be listed (${codeOf(cause)}). Give the folder that holds the passes, and check that it may be read.`,
      { cause },
    );
  }
}

async function judge(
  path: string,
  prefix: string,
  entry: Dirent,
  follow: boolean,
): Promise<Kind | LeftOut<LeftOutReason>> {
  const item = `${prefix}${entry.name}`;
  if (entry.name.startsWith('.')) return { item, reason: 'hidden', detail: 'The name begins with a dot.' };
  if (entry.name === FORKS_FOLDER) return { item, reason: 'hidden', detail: 'An archive keeps resource forks there.' };
  if (entry.isSymbolicLink() && !follow) {
    return { item, reason: 'link', detail: 'Symbolic links are followed only when asked for.' };
  }
  const target = entry.isSymbolicLink() ? await stat(join(path, entry.name)).catch(() => undefined) : entry;
  if (target === undefined) return { item, reason: 'link', detail: 'It leads nowhere.' };
  if (target.isDirectory()) return 'folder';
  if (!target.isFile()) return { item, reason: 'not-an-image', detail: 'It is not a plain file.' };
  if (prefix === '' && entry.name === SETTINGS_FILE) return 'expected';
  return judgeFile(join(path, entry.name), item);
}

/** Where archives from a Mac keep what belongs to a file besides its content. */
const FORKS_FOLDER = '__MACOSX';

async function judgeFile(path: string, item: string): Promise<Kind | LeftOut<LeftOutReason>> {
  try {
    const file = await open(path, 'r');
    try {
      const { format, name, isClip } = await sniffFile(file, item);
      if (isClip) return 'clip';
      if (format !== undefined) return 'still';
      if (name !== undefined) return { item, reason: 'not-an-image', detail: `It is ${name}. ${adviceFor(name)}` };
      if (hasStillExtension(item)) return 'still';
      return { item, reason: 'not-an-image', detail: 'It is no still of a kind that is read.' };
    } finally {
      await file.close();
    }
  } catch (cause) {
    return { item, reason: 'unreadable', detail: `It cannot be opened (${codeOf(cause)}).` };
  }
}

function codeOf(cause: unknown): string {
  return cause instanceof Error && 'code' in cause ? String(cause.code) : String(cause);
}
