import { escapeXml, planDrawing } from './plan-drawing.js';
import type { Plan, PlannedWindow } from './plan-types.js';
import { dataNote, passTable, shotNotes, spanText } from './plan-words.js';

/**
 * A plan as one HTML page to be printed: warning, drawing, shot list, windows. It holds all that it shows and asks for
 * nothing from anywhere; the site's coordinates are not in it.
 */
export function planSheet(plan: Plan): string {
  const chosen = plan.windows.find(({ rank }) => rank === plan.shots?.window);
  const heading = chosen ? `${plan.body}, ${spanText(chosen.start, chosen.end)}` : `${plan.body}: no plan`;
  return [
    '<!doctype html>',
    '<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">',
    `<title>${escapeXml(heading)}</title>`,
    `<style>${STYLE}</style></head><body>`,
    `<h1>${escapeXml(heading)}</h1>`,
    ...warningOf(plan),
    ...(chosen ? [`<p>${escapeXml(chosen.reasons.join('; '))}.</p>`] : []),
    ...(plan.reason === null ? [] : [`<p class="warning">Not feasible: ${escapeXml(plan.reason)}.</p>`]),
    ...shotsOf(plan),
    ...windowsOf(plan),
    '</body></html>',
    '',
  ].join('\n');
}

const STYLE = `
:root { color-scheme: light dark; --ink: #111; --paper: #fff; --line: #999; --head: #eee; --warn: #a00 }
@media screen and (prefers-color-scheme: dark) {
  svg { filter: brightness(0.6) }
  :root { --ink: #ddd; --paper: #111; --line: #555; --head: #222; --warn: #ff6b60 }
}
@page { size: A4 landscape; margin: 10mm }
body { font: 14px/1.4 sans-serif; color: var(--ink); background: var(--paper); margin: 0 auto; padding: 12px; max-width: 1240px }
h1 { font-size: 20px; margin: 0 0 4px } h2 { font-size: 15px; margin: 12px 0 4px } p { margin: 4px 0 }
.wide { overflow-x: auto } table { border-collapse: collapse; width: 100% }
.passes { white-space: nowrap; font-variant-numeric: tabular-nums }
td, th { border: 1px solid var(--line); padding: 2px 5px; text-align: left; vertical-align: top }
th { background: var(--head) } tr { break-inside: avoid }
.warning { border: 2px solid var(--warn); padding: 6px; font-weight: bold; color: var(--warn) }
.sides { display: flex; flex-wrap: wrap; gap: 16px; align-items: flex-start; margin-top: 6px }
.sides > div { flex: 1 1 320px; min-width: 0 } ul { margin: 2px 0; padding-left: 18px } li { margin-bottom: 2px }
svg { width: 600px; max-width: 100%; flex: 0 1 auto }
@media print {
  body { font-size: 10.5px; padding: 0; max-width: none } h1 { font-size: 17px } h2 { font-size: 12px }
  td, th { padding: 1px 4px } svg { width: auto; max-width: 50%; max-height: 96mm } .sides { flex-wrap: nowrap } .wide { overflow: visible }
}`;

function warningOf({ sun }: Plan): string[] {
  if (!sun) return [];
  const cautions = sun.cautions.map(({ text }) => `<li>${escapeXml(text)}</li>`).join('');
  return [`<div class="warning">${escapeXml(sun.warning)}<ul>${cautions}</ul></div>`];
}

function shotsOf(plan: Plan): string[] {
  if (!plan.shots) return [];
  const notes = [...shotNotes(plan, plan.shots), dataNote(plan.shots)].map((note) => `<li>${escapeXml(note)}</li>`);
  return [
    `<div class="sides">${planDrawing(plan.shots)}<div><ul>${notes.join('')}</ul></div></div>`,
    `<h2>Passes (start in ${escapeXml(plan.timeZone)})</h2>`,
    tableOf(passTable(plan, plan.shots), 'passes'),
  ];
}

function windowsOf({ windows, windowsFound }: Plan): string[] {
  if (windows.length === 0) return [];
  const rows = windows.map((window) => [String(window.rank), spanText(window.start, window.end), whyOf(window)]);
  return [`<h2>Windows: ${windows.length} of ${windowsFound}</h2>`, tableOf([['window', 'time', 'reasons'], ...rows])];
}

function whyOf({ reasons, sun }: PlannedWindow): string {
  if (!sun) return reasons.join('; ');
  const sweep = sun.cautions.find(({ code }) => code === 'SWEEP_AWAY');
  return [sun.warning, ...(sweep ? [sweep.text] : []), reasons.join('; ')].join(' ');
}

/** The first row is the head. */
function tableOf([head, ...rows]: readonly (readonly string[])[], look = 'windows'): string {
  const line = (cells: readonly string[], tag: string): string =>
    `<tr>${cells.map((cell) => `<${tag}>${escapeXml(cell)}</${tag}>`).join('')}</tr>`;
  return `<div class="wide"><table class="${look}">${line(head ?? [], 'th')}${rows.map((cells) => line(cells, 'td')).join('')}</table></div>`;
}
