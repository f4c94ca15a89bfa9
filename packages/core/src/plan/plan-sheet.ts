import { escapeXml, planDrawing } from './plan-drawing.js';
import { SHEET_STYLE } from './plan-sheet-style.js';
import type { Plan, PlannedWindow, ShotList } from './plan-types.js';
import { dataNote, missNotes, passTable, rigFacts, shotNotes, spanText, windowTitle } from './plan-words.js';

/**
 * A plan as one HTML page to be printed: warning, what it is for, drawing, shot list, windows. It holds all that it shows and
 * asks for nothing from anywhere; the site's coordinates are not in it, there is room to write where it is.
 */
export function planSheet(plan: Plan): string {
  const { shots } = plan;
  const chosen = plan.windows.find(({ rank }) => rank === shots?.window);
  const [title, day] = chosen
    ? [windowTitle(plan, chosen, shots), chosen.start.local.slice(0, 10)]
    : [plan.body, 'no plan'];
  return [
    '<!doctype html>',
    '<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">',
    `<title>${escapeXml(title)}, ${day}</title>`,
    `<style>${SHEET_STYLE}</style></head><body>`,
    `<h1>${escapeXml(title)}, <span>${day}</span></h1>`,
    ...warningOf(plan),
    ...(plan.reason === null ? [] : [`<p class="warning">Not feasible: ${escapeXml(plan.reason)}.</p>`]),
    ...(plan.missed ? [listOf(missNotes(plan))] : []),
    ...(chosen && shots ? shotsOf(plan, chosen, shots) : []),
    ...windowsOf(plan),
    '</body></html>',
    '',
  ].join('\n');
}

function warningOf({ sun }: Plan): string[] {
  if (!sun) return [];
  return [`<div class="warning">${escapeXml(sun.warning)}${listOf(sun.cautions.map(({ text }) => text))}</div>`];
}

function shotsOf(plan: Plan, { start, end, reasons }: PlannedWindow, shots: ShotList): string[] {
  return [
    factsOf([['Window', `${spanText(start, end)}: ${reasons.join('; ')}`], ...rigFacts(plan, shots)]),
    `<div class="sides">${planDrawing(shots)}<div>${listOf([...shotNotes(plan, shots), dataNote(shots)])}</div></div>`,
    `<h2>Passes (start in ${escapeXml(plan.timeZone)})</h2>`,
    tableOf(passTable(plan, shots), 'passes'),
  ];
}

/** The site is left for a pen to fill in: a sheet is passed on, and its coordinates are not for everybody. */
function factsOf(facts: readonly (readonly [string, string])[]): string {
  const blank = '<span class="blank" title="to be filled in by hand"></span>';
  const rows = facts.map(
    ([name, text]) => `<div><dt>${name}</dt><dd>${name === 'Site' ? blank : ''}${escapeXml(text)}</dd></div>`,
  );
  return `<dl>${rows.join('')}</dl>`;
}

function windowsOf({ windows, windowsFound }: Plan): string[] {
  if (windows.length === 0) return [];
  const rows = windows.map((window) => [String(window.rank), spanText(window.start, window.end), whyOf(window)]);
  return [`<h2>Windows: ${windows.length} of ${windowsFound}</h2>`, tableOf([['window', 'time', 'reasons'], ...rows])];
}

/** The warning itself stands above all else; which way to sweep is another matter for each window. */
function whyOf({ reasons, sun }: PlannedWindow): string {
  if (!sun) return reasons.join('; ');
  const sweep = sun.cautions.find(({ code }) => code === 'SWEEP_AWAY');
  return [`${reasons.join('; ')}.`, 'SUN: mind the warning above.', ...(sweep ? [sweep.text] : [])].join(' ');
}

function listOf(texts: readonly string[]): string {
  return `<ul>${texts.map((text) => `<li>${escapeXml(text)}</li>`).join('')}</ul>`;
}

/** Columns of two figures, which stand below each other where room is short. */
const PAIRS = new Set(['aim alt, az', 'across the drift']);

/** The first row is the head; every cell knows the name of its column, for screens on which a row does not fit. */
function tableOf([head = [], ...rows]: readonly (readonly string[])[], look = 'windows'): string {
  const names = head.map((name) => `<th scope="col">${escapeXml(name)}</th>`).join('');
  const cellOf = (cell: string, name: string): string => {
    const text = escapeXml(cell);
    const pair = PAIRS.has(name) ? text.replace(/ (.*)/, ' <span>$1</span>') : text;
    return `<td data-name="${escapeXml(name)}">${pair}</td>`;
  };
  const lines = rows.map((cells) => `<tr>${cells.map((cell, k) => cellOf(cell, head[k]!)).join('')}</tr>`);
  return `<table class="${look}"><thead><tr>${names}</tr></thead><tbody>${lines.join('')}</tbody></table>`;
}
