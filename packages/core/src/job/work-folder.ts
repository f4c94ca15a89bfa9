import { mkdir, mkdtemp, readdir, rm, rmdir, stat } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import { RECORD_FILE } from './artefact.js';
import { UsageError } from './errors.js';
import { hasEnded, isOwnLabel, ownerLabel } from './owner.js';
import { explainUnwritable } from './resources.js';

const UNFINISHED = /^\.unfinished,(?<pid>\d+),(?<host>[^,]+),/;
const ownFolders = new Set<string>();

/**
 * Makes a folder and those above it, one by one: some file systems send a recursive `mkdir` round for ever.
 *
 * @throws UsageError when a file is in the way
 * @throws OutputError OUTPUT_UNWRITABLE when the system refuses
 */
export async function makeFolder(path: string): Promise<void> {
  try {
    await makeOne(path);
  } catch (error) {
    const code = codeOf(error);
    if (code !== 'EEXIST' && code !== 'ENOTDIR') throw explainUnwritable(error, path);
    throw new UsageError(`${path} cannot be a folder: a file is in the way. Choose another folder.`, { cause: error });
  }
}

async function makeOne(path: string): Promise<void> {
  try {
    await mkdir(path);
  } catch (error) {
    const code = codeOf(error);
    if (code === 'ENOENT' && dirname(path) !== path && !(await isFolder(dirname(path)))) {
      await makeOne(dirname(path));
      await mkdir(path);
    } else if (!(await isFolder(path))) throw error;
  }
}

async function isFolder(path: string): Promise<boolean> {
  return stat(path).then(
    (s) => s.isDirectory(),
    () => false,
  );
}

function codeOf(error: unknown): string {
  return error instanceof Error && 'code' in error ? String(error.code) : '';
}

/**
 * Makes the work folder when missing and removes what runs that died have left half done in it. A folder of a process
 * that may still be alive (same machine and alive, or another machine) stays.
 *
 * @returns the names of the removed folders
 */
export async function prepareWorkFolder(workDir: string): Promise<readonly string[]> {
  await makeFolder(workDir);
  const removed = (await readdir(workDir)).filter((name) => isDead(workDir, name));
  for (const name of removed) await rm(join(workDir, name), { recursive: true, force: true });
  return removed;
}

/** A new folder for half-done work; its name says which process on which machine owns it. */
export async function createUnfinishedFolder(workDir: string, label: string): Promise<string> {
  await makeFolder(workDir);
  const prefix = join(workDir, `.unfinished,${ownerLabel()},${label},`);
  const folder = await mkdtemp(prefix).catch((error: unknown) => {
    throw explainUnwritable(error, workDir);
  });
  ownFolders.add(folder);
  return folder;
}

/** Removes a folder of {@link createUnfinishedFolder}; nothing happens when it has been renamed. */
export async function removeUnfinishedFolder(folder: string): Promise<void> {
  // A cancelled thread may still be writing its last file: removing is tried again for a second.
  await rm(folder, { recursive: true, force: true, maxRetries: 5, retryDelay: 60 });
  ownFolders.delete(folder);
}

/** Removes finished artefacts from the work folder, and the folder itself where nothing else lies in it. */
export async function clearWorkFolder(workDir: string): Promise<void> {
  for (const entry of await readdir(workDir, { withFileTypes: true })) {
    const folder = join(workDir, entry.name);
    if (!entry.isDirectory() || !(await readdir(folder)).includes(RECORD_FILE)) continue;
    await rm(folder, { recursive: true, force: true });
  }
  await rmdir(workDir).catch((error: unknown) => {
    // Someone else's files stay, and so does the folder.
    if (!['ENOTEMPTY', 'EEXIST'].includes(codeOf(error))) throw error;
  });
}

function isDead(workDir: string, name: string): boolean {
  const found = UNFINISHED.exec(name)?.groups;
  if (!found) return false;
  const owner = { pid: Number(found.pid), host: found.host! };
  return isOwnLabel(owner) ? !ownFolders.has(join(workDir, name)) : hasEnded(owner);
}
