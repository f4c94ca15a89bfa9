import { readdir } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import { InputError, type LeftOut } from '../job/errors.js';
import { type Folder, readFolder } from './folder.js';
import { type CalibrationKind, type CalibrationSet, type LeftOutReason, type Pass, sameShape } from './pass.js';
import { readStillsPass } from './stills-pass.js';

const KINDS: readonly CalibrationKind[] = ['dark', 'flat', 'bias'];

/** The kind of calibration frames that a folder of this name holds, in any case. */
export function kindOf(folder: string): CalibrationKind | undefined {
  return KINDS.find((kind) => kind === folder.toLowerCase());
}

/** Sets of calibration frames, and what was not used of them. */
export interface FoundCalibration {
  readonly sets: readonly CalibrationSet[];
  readonly leftOut: readonly LeftOut<LeftOutReason>[];
}

/**
 * Finds the folders `dark`, `flat` and `bias` of a capture; of a kind that it does not have, the one beside it. Frames
 * that fit no pass, or cannot be used, are losses and no failure.
 */
export async function findCalibration(
  root: string,
  top: Folder,
  passes: readonly Pass[],
  signal?: AbortSignal,
): Promise<FoundCalibration> {
  const beside = await foldersIn(dirname(root));
  const sets: CalibrationSet[] = [];
  const leftOut: LeftOut<LeftOutReason>[] = [];
  for (const kind of KINDS) {
    const own = top.folders.find((name) => kindOf(name) === kind);
    const other = beside.find((name) => kindOf(name) === kind);
    const prefix = own !== undefined ? `${own}/` : other !== undefined ? `../${other}/` : undefined;
    if (prefix === undefined) continue;
    const read = await readSet(root, prefix, kind, signal);
    leftOut.push(...read.leftOut);
    if (!read.set) continue;
    const odd = passes.filter((pass) => !sameShape(pass, read.set!.pass));
    if (odd.length > 0) leftOut.push(oddSize(prefix, read.set.pass, odd));
    if (odd.length < passes.length) sets.push(read.set);
  }
  return { sets, leftOut };
}

/** Names of folders; none where they may not be listed. */
async function foldersIn(path: string): Promise<string[]> {
  const entries = await readdir(path, { withFileTypes: true }).catch(() => []);
  return entries.filter((entry) => entry.isDirectory()).map((entry) => entry.name);
}

async function readSet(root: string, prefix: string, kind: CalibrationKind, signal: AbortSignal | undefined) {
  const folder = await readFolder(join(root, prefix), prefix, signal);
  const nothing = { item: prefix.slice(0, -1), reason: 'no-stills' as const, detail: 'The folder holds no still.' };
  if (folder.stills.length === 0) return { set: undefined, leftOut: [...folder.leftOut, nothing] };
  try {
    const { pass, leftOut } = await readStillsPass(root, prefix, kind, folder.stills, signal);
    return { set: { kind, pass }, leftOut: [...folder.leftOut, ...leftOut] };
  } catch (error) {
    if (!(error instanceof InputError)) throw error;
    const loss = { item: prefix.slice(0, -1), reason: 'unreadable' as const, detail: error.message };
    return { set: undefined, leftOut: [...folder.leftOut, loss] };
  }
}

function oddSize(prefix: string, frames: Pass, odd: readonly Pass[]): LeftOut<LeftOutReason> {
  const shape = ({ widthPx, heightPx, channels }: Pass): string =>
    `${widthPx} x ${heightPx} px, ${channels === 1 ? 'grey' : 'RGB'}`;
  const names = odd.map(({ name }) => `"${name}"`).join(', ');
  const detail = `Its frames are ${shape(frames)}, those of the passes ${names} ${shape(odd[0]!)}: not used for them.`;
  return { item: prefix.slice(0, -1), reason: 'calibration-odd-size', detail };
}
