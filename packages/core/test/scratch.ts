import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll } from 'vitest';

/** Gives a test file a folder of its own, which is removed at the end. Call it at the top; ask for paths inside tests. */
export function useScratch(): (name: string) => string {
  let folder = '';
  beforeAll(async () => {
    folder = await mkdtemp(join(tmpdir(), 'plenilune-test-'));
  });
  afterAll(() => rm(folder, { recursive: true, force: true }));
  return (name) => join(folder, name);
}
