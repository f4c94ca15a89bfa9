import type { VerifyResult } from '@plenilune/core';
import { EXIT } from './exit-code.js';
import { count } from './lines.js';
import type { Job, Outcome } from './run.js';

/** Compares a plate's files, and those of its capture where one is given, with the hashes in its sidecar. */
export async function checkPlate(sidecar: string, captureDir: string | undefined, job: Job): Promise<Outcome> {
  const { signal, onProgress } = job;
  const { verifyPlate } = await import('@plenilune/core');
  const result = await verifyPlate(sidecar, { signal, onProgress, ...(captureDir !== undefined && { captureDir }) });
  const same = result.differences.length === 0;
  return { machine: result, summary: describe(result), complete: same, ...(!same && { exitCode: EXIT.unusableInput }) };
}

/** Differences that are named one by one. */
const MOST_SHOWN = 20;

function describe({ sidecarPath, checked, notChecked, differences }: VerifyResult): string[] {
  const lines = differences.slice(0, MOST_SHOWN).map(({ role, file, state }) => {
    const whose = role === 'output' ? 'beside the sidecar' : 'of the capture';
    return `${file} ${whose} ${state === 'missing' ? 'is missing' : 'has changed'}.`;
  });
  if (differences.length > MOST_SHOWN)
    lines.push(`and ${differences.length - MOST_SHOWN} more; --json lists each one.`);
  const others = checked - differences.length;
  lines.push(
    differences.length === 0
      ? `${count(checked, 'file is', 'files are')} as ${sidecarPath} says.`
      : `${count(differences.length, 'file differs', 'files differ')} from ${sidecarPath}; ${count(others, 'is', 'are')} as it says.`,
  );
  if (notChecked > 0)
    lines.push(`${count(notChecked, 'input was', 'inputs were')} not looked at; --capture says where they are.`);
  return lines;
}
