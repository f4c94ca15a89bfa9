import { readdir, stat } from 'node:fs/promises';
import { join } from 'node:path';
import { setTimeout } from 'node:timers/promises';
import { InputError } from '@plenilune/core/errors';
import type { Job, Outcome } from './run.js';

/** How often the folder is looked at. */
const POLL_MS = 2000;

/**
 * Does the work whenever what lies in a folder has changed and stopped changing, until interrupted. A capture that cannot be
 * used yet is told and waited for. The last outcome is that of the command.
 */
export async function watch(folder: string, work: () => Promise<Outcome>, { signal, tell }: Job): Promise<Outcome> {
  let outcome: Outcome | undefined;
  let [done, before]: (string | undefined)[] = [undefined, undefined];
  while (!signal.aborted) {
    const now = await contents(folder);
    if (now === before && now !== done) {
      try {
        outcome = await work();
        tell(outcome.summary);
      } catch (error) {
        if (signal.aborted) break;
        if (!(error instanceof InputError)) throw error;
        tell([error.message]);
      }
      tell(['Waiting for more files. Interrupt to end.', '']);
      done = now;
    }
    before = now;
    await setTimeout(POLL_MS, undefined, { signal }).catch(() => undefined);
  }
  return outcome ? { ...outcome, summary: [] } : { machine: null, summary: ['Nothing was looked at.'], complete: true };
}

/** What lies in a folder, with sizes and times, as one text. */
async function contents(folder: string): Promise<string> {
  const names = await readdir(folder, { recursive: true }).catch(() => []);
  const lines = await Promise.all(
    names.map(async (name) => {
      const found = await stat(join(folder, name)).catch(() => undefined);
      return `${name} ${found?.size} ${found?.mtimeMs}`;
    }),
  );
  return lines.sort().join('\n');
}
