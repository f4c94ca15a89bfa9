import { lstat, readdir, rm } from 'node:fs/promises';
import { basename, dirname, join } from 'node:path';
import { hasEnded, isOwnLabel, ownerLabel } from './owner.js';

/** What stands behind the name of an output until it is whole; `-old` is what it replaces. */
const PARTIAL = /^(?<pid>\d+),(?<host>[^,]+),\d+\.partial(?<old>-old)?$/;
const own = new Set<string>();
let serial = 0;

/**
 * A name in the folder of an output under which it can be made, to be given its own name once it is whole; no two are the
 * same. What runs that have ended left half made of that output is removed first; what belongs to a process that may still
 * run stays.
 */
export async function partialBeside(path: string): Promise<string> {
  await removeLeftovers(path);
  const temporary = join(dirname(path), `.${basename(path)}.${ownerLabel()},${serial++}.partial`);
  own.add(temporary);
  return temporary;
}

async function removeLeftovers(path: string): Promise<void> {
  const folder = dirname(path);
  const prefix = `.${basename(path)}.`;
  for (const name of await readdir(folder).catch(() => [])) {
    const left = name.startsWith(prefix) ? PARTIAL.exec(name.slice(prefix.length))?.groups : undefined;
    if (!left) continue;
    const owner = { pid: Number(left.pid), host: left.host! };
    const isLeft = isOwnLabel(owner) ? !own.has(join(folder, name.replace(/-old$/, ''))) : hasEnded(owner);
    // What was to be replaced is all there is, when a run ended before its new output had the name.
    if (!isLeft || (left.old && !(await exists(path)))) continue;
    await rm(join(folder, name), { recursive: true, force: true });
  }
}

async function exists(path: string): Promise<boolean> {
  return lstat(path).then(
    () => true,
    () => false,
  );
}
