import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';

const root = fileURLToPath(new URL('../../../../shared', import.meta.url));

/** Path of a real file beside the repository. Fails, rather than skips, when the folder is missing. */
export function shared(...parts: string[]): string {
  const path = join(root, ...parts);
  if (!existsSync(path))
    throw new Error(`${path} is missing: tests read real files from a folder "shared" beside the repository`);
  return path;
}
