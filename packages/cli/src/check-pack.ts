import { join } from 'node:path';
import type { VerifyPackResult } from '@plenilune/core';
import { EXIT } from './exit-code.js';
import { count } from './lines.js';
import type { Job, Outcome } from './run.js';

/** Compares the files of a stock pack with the hashes that it holds. */
export async function checkPack(pack: string, { signal, onProgress }: Job): Promise<Outcome> {
  const { verifyPack } = await import('@plenilune/core');
  const result = await verifyPack(pack, { signal, onProgress });
  const same = result.differences.length === 0;
  return { machine: result, summary: describe(result), complete: same, ...(!same && { exitCode: EXIT.unusableInput }) };
}

/** Differences that are named one by one. */
const MOST_SHOWN = 20;

const STATES = { changed: 'has changed', missing: 'is missing', extra: 'is not of the pack' } as const;

function describe({ packDir, checked, differences }: VerifyPackResult): string[] {
  const lines = differences.slice(0, MOST_SHOWN).map(({ file, state }) => `${file} ${STATES[state]}.`);
  if (differences.length > MOST_SHOWN)
    lines.push(`and ${differences.length - MOST_SHOWN} more; --json lists each one.`);
  const sums = join(packDir, 'SHA256SUMS');
  const off = differences.filter(({ state }) => state !== 'extra').length;
  return [
    ...lines,
    off === 0
      ? `${count(checked, 'file is', 'files are')} as ${sums} says.`
      : `${count(off, 'file differs', 'files differ')} from ${sums}; ${count(checked - off, 'is', 'are')} as it says.`,
  ];
}
