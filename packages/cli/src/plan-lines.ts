import { lasting, missNotes, type Plan, passTable, shotNotes, spanText } from '@plenilune/core';
import { count, inColumns } from './lines.js';

/** A plan as lines for a terminal. */
export function planLines(plan: Plan): string[] {
  const { windows, windowsFound, shots, sun, reason } = plan;
  const lines: string[] = [];
  if (sun) lines.push(sun.warning, ...sun.cautions.map(({ text }) => `  ${text}`));
  if (windows.length > 0) lines.push(`${count(windowsFound, 'window', 'windows')}, the best first:`);
  for (const { rank, start, end, reasons, sun: near } of windows) {
    const mark = near ? '  SUN' : '';
    lines.push(`  ${rank}  ${spanText(start, end)}${mark}`, `     ${reasons.join('; ')}`);
    const sweep = near?.cautions.find(({ code }) => code === 'SWEEP_AWAY');
    if (sweep && windows.length > 1) lines.push(`     ${sweep.text}`);
  }
  if (windowsFound > windows.length) lines.push(`  and ${windowsFound - windows.length} more`);
  if (reason !== null) lines.push(`Not feasible: ${reason}.`, ...missNotes(plan).map((note) => `  ${note}`));
  if (!shots) return lines;
  const passes = count(shots.passes.length, 'pass', 'passes');
  lines.push(
    `Window ${shots.window}: ${passes} in ${lasting(shots.totalS)}, start in ${plan.timeZone}:`,
    ...inColumns(passTable(plan, shots)).map((line) => `  ${line}`),
    ...shotNotes(plan, shots),
  );
  return lines;
}
