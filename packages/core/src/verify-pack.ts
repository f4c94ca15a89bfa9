import { readdir } from 'node:fs/promises';
import { join, resolve } from 'node:path';
import { mapBounded } from './capture/bounded.js';
import { hashIfFile } from './capture/hash.js';
import type { ProgressListener } from './job/progress.js';
import { tellStage } from './job/tell-stage.js';
import { SUMS_FILE } from './publish/pack-folder.js';
import { isPack, readPackSums } from './publish/pack-sums.js';

/** Settings of {@link verifyPack}. */
export interface VerifyPackOptions {
  readonly signal?: AbortSignal;
  /** Default: nobody is told. */
  readonly onProgress?: ProgressListener;
}

/** A file that is not as the pack's hashes have it; `extra` is a file or folder, hidden ones apart, that they do not name. */
export interface PackDifference {
  /** Its name in the pack's folder. */
  readonly file: string;
  readonly state: 'changed' | 'missing' | 'extra';
  /** What was published; null for what is extra. */
  readonly sha256: string | null;
  /** What its bytes give now; null where there is none. */
  readonly foundSha256: string | null;
}

/** What {@link verifyPack} has found. */
export interface VerifyPackResult {
  /** Absolute path. */
  readonly packDir: string;
  /** Files that were hashed or looked for. */
  readonly checked: number;
  readonly differences: readonly PackDifference[];
}

/**
 * Compares every file of a stock pack with the hashes in its `SHA256SUMS`, and names what lies there besides.
 *
 * @param path the folder that `publish` wrote
 * @throws InputError PACK_UNREADABLE when its `SHA256SUMS` is not there, or not one
 * @throws InterruptedError
 */
export async function verifyPack(path: string, options: VerifyPackOptions = {}): Promise<VerifyPackResult> {
  const { signal, onProgress = () => {} } = options;
  const packDir = resolve(path);
  const sums = await readPackSums(packDir);
  const named = new Set([SUMS_FILE, ...sums.map(({ file }) => file)]);
  const others = (await readdir(packDir)).filter((name) => !named.has(name) && !isHidden(name)).sort();
  const found = await tellStage(onProgress, { stage: 'verify', total: sums.length, unit: 'files' }, (step) => {
    let done = 0;
    const compare = async ({ file, sha256 }: (typeof sums)[number]) => {
      const foundSha256 = await hashIfFile(join(packDir, file), signal);
      step(++done);
      return { file, state: foundSha256 === null ? ('missing' as const) : ('changed' as const), sha256, foundSha256 };
    };
    return mapBounded(sums, OPEN_FILES, compare, signal);
  });
  const differing = found.filter(({ sha256, foundSha256 }) => sha256 !== foundSha256);
  const extra = others.map((file) => ({ file, state: 'extra' as const, sha256: null, foundSha256: null }));
  return { packDir, checked: sums.length, differences: [...differing, ...extra] };
}

/** The pack that a path stands for: a folder with `SHA256SUMS` and a listing; undefined for anything else. */
export async function packAt(path: string): Promise<string | undefined> {
  return (await isPack(path)) ? path : undefined;
}

/** What a system leaves in any folder that it shows. */
function isHidden(name: string): boolean {
  return name.startsWith('.');
}

const OPEN_FILES = 2;
