import { AsyncLocalStorage } from 'node:async_hooks';
import { rm } from 'node:fs/promises';

const made = new AsyncLocalStorage<string[]>();

/** Notes that a file or folder has appeared, for whoever wants all of them or none. */
export function noteMade(path: string): void {
  made.getStore()?.push(path);
}

/**
 * Does work that makes several files, and takes away those that it has made when it fails: with `writeWhole` and
 * `writeFolderWhole`, that is, and where nothing was replaced. Throws what `work` throws.
 */
export async function allOrNone<T>(work: () => Promise<T>): Promise<T> {
  const paths: string[] = [];
  try {
    return await made.run(paths, work);
  } catch (error) {
    for (const path of paths.reverse()) await rm(path, { recursive: true, force: true });
    throw error;
  }
}
