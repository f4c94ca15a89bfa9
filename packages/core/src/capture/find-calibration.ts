import { readdir } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import { InputError, type LeftOut } from '../job/errors.js';
import { readClipPass } from './clip-pass.js';
import { readFolder } from './folder.js';
import { type CalibrationKind, type CalibrationSet, type LeftOutReason, type Pass, sameShape } from './pass.js';
import type { Encoding } from './reading.js';
import { SETTINGS_FILE } from './settings-read.js';
import type { CalibrationSettings } from './settings-types.js';
import { readStillsPass } from './stills-pass.js';
import { type FoundFolder, kindOf, type WalkedCapture } from './walk-capture.js';

const KINDS: readonly CalibrationKind[] = ['dark', 'flat', 'bias'];

/** Sets of calibration frames, and what was not used of them. */
export interface FoundCalibration {
  readonly sets: readonly CalibrationSet[];
  readonly leftOut: readonly LeftOut<LeftOutReason>[];
}

/** Where calibration frames are looked for, and how they are read. */
export interface CalibrationPlaces {
  readonly root: string;
  readonly walked: WalkedCapture;
  readonly settings: CalibrationSettings | undefined;
  readonly encoding: Encoding;
  readonly signal?: AbortSignal | undefined;
}

/**
 * Finds dark, flat and bias frames: where the settings say; else in the folders of these names of a capture; of a kind
 * that it does not have, in the one beside it. Frames that fit no pass, or cannot be used, are losses and no failure.
 * Throws {@link InputError} `SETTINGS_INVALID` when the settings name what is not there.
 */
export async function findCalibration(places: CalibrationPlaces, passes: readonly Pass[]): Promise<FoundCalibration> {
  const sets: CalibrationSet[] = [];
  const leftOut: LeftOut<LeftOutReason>[] = [];
  for (const kind of KINDS) {
    const place = await placeOf(kind, places);
    if (place === undefined) continue;
    const read = await readSet(place, kind, places);
    leftOut.push(...read.leftOut);
    if (!read.set) continue;
    const odd = passes.filter((pass) => !sameShape(pass, read.set!.pass));
    if (odd.length > 0) leftOut.push(oddSize(itemOf(place), read.set.pass, odd));
    if (odd.length < passes.length) sets.push(read.set);
  }
  return { sets, leftOut };
}

async function placeOf(kind: CalibrationKind, places: CalibrationPlaces): Promise<FoundFolder | undefined> {
  const { root, walked, settings } = places;
  const named = settings?.[kind];
  if (named === false) return undefined;
  if (named !== undefined) return namedPlace(named, kind, places);
  if (walked.calibration[kind]) return walked.calibration[kind];
  const beside = (await foldersIn(dirname(root))).find((name) => kindOf(name) === kind);
  return beside === undefined ? undefined : folderAt(root, `../${beside}`, places);
}

async function namedPlace(
  path: string,
  kind: CalibrationKind,
  { walked, root }: CalibrationPlaces,
): Promise<FoundFolder> {
  for (const folder of [...walked.folders, ...Object.values(walked.calibration)]) {
    if (folder.path === path) return folder;
    const clip = folder.clips.find((name) => path === (folder.path === '' ? name : `${folder.path}/${name}`));
    if (clip !== undefined) return { path: folder.path, stills: [], clips: [clip] };
  }
  throw new InputError(
    'SETTINGS_INVALID',
    `${SETTINGS_FILE} says that ${kind} frames are in "${path}", but ${join(root, path)} is no folder of stills and no clip.`,
  );
}

async function folderAt(root: string, path: string, { signal }: CalibrationPlaces): Promise<FoundFolder> {
  const { stills, clips } = await readFolder(join(root, path), `${path}/`, { signal });
  return { path, stills, clips };
}

/** Names of folders; none where they may not be listed. */
async function foldersIn(path: string): Promise<string[]> {
  const entries = await readdir(path, { withFileTypes: true }).catch(() => []);
  return entries.filter((entry) => entry.isDirectory()).map((entry) => entry.name);
}

interface ReadSet {
  readonly set: CalibrationSet | undefined;
  readonly leftOut: readonly LeftOut<LeftOutReason>[];
}

/** The stills of a folder; where there are none, its first clip. */
async function readSet(place: FoundFolder, kind: CalibrationKind, places: CalibrationPlaces): Promise<ReadSet> {
  const { root, encoding, signal } = places;
  const { path, stills, clips } = place;
  try {
    if (stills.length > 0) {
      const { pass, leftOut } = await readStillsPass(root, `${path}/`, kind, stills, encoding, signal);
      return { set: pass && { kind, pass }, leftOut };
    }
    const clip = clips[0];
    if (clip === undefined) {
      const nothing = { item: path, reason: 'no-stills' as const, detail: 'The folder holds no still and no clip.' };
      return { set: undefined, leftOut: [nothing] };
    }
    const { pass, loss } = await readClipPass(root, path === '' ? clip : `${path}/${clip}`, kind, encoding, signal);
    return { set: pass && { kind, pass }, leftOut: loss ? [loss] : [] };
  } catch (error) {
    if (!(error instanceof InputError)) throw error;
    return { set: undefined, leftOut: [{ item: path, reason: 'unreadable', detail: error.message }] };
  }
}

function itemOf({ path, clips, stills }: FoundFolder): string {
  return stills.length === 0 && path === '' ? clips[0]! : path;
}

function oddSize(item: string, frames: Pass, odd: readonly Pass[]): LeftOut<LeftOutReason> {
  const shape = ({ widthPx, heightPx, channels }: Pass): string =>
    `${widthPx} x ${heightPx} px, ${channels === 1 ? 'grey' : 'RGB'}`;
  const names = odd.map(({ name }) => `"${name}"`).join(', ');
  const detail = `Its frames are ${shape(frames)}, those of the passes ${names} ${shape(odd[0]!)}: not used for them.`;
  return { item, reason: 'calibration-odd-size', detail };
}
