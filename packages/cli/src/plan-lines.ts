import { dataNote, lasting, missNotes, type Plan, passTable, shotNotes, spanText } from '@plenilune/core';
import { count, inColumns } from './lines.js';

/** A plan as lines for a terminal. */
export function planLines(plan: Plan): string[] {
  const { windows, windowsFound, shots, reason } = plan;
  const lines: string[] = sunLines(plan);
  if (windows.length > 0) lines.push(`${count(windowsFound, 'window', 'windows')}, the best first:`);
  for (const { rank, start, end, reasons, sun } of windows) {
    lines.push(`  ${rank}  ${spanText(start, end)}${sun ? '  SUN' : ''}`, `     ${reasons.join('; ')}`);
  }
  if (windowsFound > windows.length) lines.push(`  and ${windowsFound - windows.length} more`);
  if (reason !== null) lines.push(`Not feasible: ${reason}.`, ...missNotes(plan).map((note) => `  ${note}`));
  if (!shots) return lines;
  const passes = count(shots.passes.length, 'pass', 'passes');
  lines.push(
    `Window ${shots.window}: ${passes} in ${lasting(shots.totalS)}, start in ${plan.timeZone}:`,
    ...inColumns(passTable(plan, shots)).map((line) => `  ${line}`),
    ...shotNotes(plan, shots),
    dataNote(shots, '--fps changes that'),
  );
  return lines;
}

/** Columns of the bars about a warning. */
const WIDTH = 100;

/** The warning of the Sun, once, between bars that cannot be passed over; the windows it is about carry a mark. */
function sunLines({ sun, windows }: Plan): string[] {
  if (!sun) return [];
  const about = windows.filter((window) => window.sun !== null);
  const lines = [
    ...wrapped(sun.warning, WIDTH - 4),
    ...sun.cautions.flatMap(({ text }) => wrapped(text, WIDTH - 6).map((line, k) => `${k === 0 ? '-' : ' '} ${line}`)),
  ];
  if (windows.length > 1 && about.length > 0) {
    const all = about.length === windows.length;
    const which = all ? 'every window' : `the windows ${about.map(({ rank }) => rank).join(', ')}`;
    const sweeps = new Set(about.map((window) => window.sun?.cautions.find(({ code }) => code === 'SWEEP_AWAY')?.text));
    const other = sweeps.size > 1 ? '; which way to sweep differs, --window N tells that of another' : '';
    lines.push(...wrapped(`This is about ${which}, marked SUN${other}.`, WIDTH - 4));
  }
  const bar = '!'.repeat(WIDTH);
  return [bar, ...lines.map((line) => `!!  ${line}`), bar];
}

/** A text in lines of so many characters at most, broken between words. */
function wrapped(text: string, width: number): string[] {
  const lines: string[] = [];
  for (const word of text.split(' ')) {
    const last = lines.at(-1);
    if (last !== undefined && last.length + 1 + word.length <= width) lines[lines.length - 1] = `${last} ${word}`;
    else lines.push(word);
  }
  return lines;
}
