import { runProgram } from '../src/program.js';
import type { Run } from './plenilune.js';

/**
 * Runs the command in this process, which loads no more for it: all of it but what only a process of its own shows, such as
 * signals, a terminal, and what is loaded.
 */
export async function called(args: readonly string[]): Promise<Run> {
  const said = { stdout: '', stderr: '' };
  const names = ['stdout', 'stderr'] as const;
  const writes = names.map((name) => process[name].write);
  for (const name of names) {
    process[name].write = (part: string | Uint8Array): boolean => {
      said[name] += String(part);
      return true;
    };
  }
  try {
    return { code: await runProgram(args), endedBy: null, ...said };
  } finally {
    for (const [k, name] of names.entries()) process[name].write = writes[k]!;
  }
}
