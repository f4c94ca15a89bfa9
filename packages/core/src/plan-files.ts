import { writeFile } from 'node:fs/promises';
import { planCalendar } from './plan/plan-calendar.js';
import { planSheet } from './plan/plan-sheet.js';
import type { Plan } from './plan/plan-types.js';
import { writeWhole } from './plate/atomic.js';

/** Where the files of a plan go. */
export interface PlanFiles {
  /** A page to be printed. */
  readonly htmlPath?: string;
  /** An iCalendar file; not written when there is no window. */
  readonly icsPath?: string;
  /** Replace existing files. Default false. */
  readonly force?: boolean;
}

/**
 * Writes the sheet and the calendar of a plan, each whole or not at all; neither when one of them is there already.
 *
 * @returns the paths that were written
 * @throws OutputError OUTPUT_EXISTS, OUTPUT_UNWRITABLE; UsageError when a folder is missing; ResourceError OUT_OF_SPACE
 */
export async function writePlanFiles(plan: Plan, files: PlanFiles): Promise<readonly string[]> {
  const { htmlPath, icsPath, force = false } = files;
  const texts: [string, string][] = [];
  if (htmlPath !== undefined) texts.push([htmlPath, planSheet(plan)]);
  const calendar = icsPath === undefined ? null : planCalendar(plan);
  if (icsPath !== undefined && calendar !== null) texts.push([icsPath, calendar]);
  await writeAll(texts, force);
  return texts.map(([path]) => path);
}

/** Writes the first text once the others are in their places: when one cannot be written, the first is not either. */
async function writeAll([first, ...others]: readonly [string, string][], force: boolean): Promise<void> {
  if (first === undefined) return;
  const [path, text] = first;
  const write = async (temporary: string): Promise<void> => {
    await writeFile(temporary, text, { flag: 'wx' });
    await writeAll(others, force);
  };
  await writeWhole(path, write, { force });
}
