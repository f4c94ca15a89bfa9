import { escapeXml, planDrawing } from './plan-drawing.js';
import type { Plan, PlannedWindow } from './plan-types.js';
import { passTable, shotNotes, spanText } from './plan-words.js';

/**
 * A plan as one HTML page to be printed: warning, drawing, shot list, windows. It holds all that it shows and asks for
 * nothing from anywhere; the site's coordinates are not in it.
 */
export function planSheet(plan: Plan): string {
  const chosen = plan.windows.find(({ rank }) => rank === plan.shots?.window);
  const heading = chosen ? `${plan.body}, ${spanText(chosen.start, chosen.end)}` : `${plan.body}: no plan`;
  return [
    '<!doctype html>',
    '<html lang="en"><head><meta charset="utf-8">',
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
@page { size: A4 landscape; margin: 10mm }
body { font: 10.5px/1.35 sans-serif; color: #111; margin: 12px auto; max-width: 1080px }
h1 { font-size: 17px; margin: 0 0 4px } h2 { font-size: 12px; margin: 8px 0 2px } p { margin: 2px 0 }
table { border-collapse: collapse; width: 100% } td, th { border: 1px solid #999; padding: 1px 4px; text-align: left }
th { background: #eee } .warning { border: 2px solid #b00; padding: 4px; font-weight: bold; color: #b00 }
.sides { display: flex; gap: 14px; align-items: flex-start } .sides > div { flex: 1 }
svg { width: 430px; max-height: 96mm; flex: none } ul { margin: 2px 0; padding-left: 16px }
tr { break-inside: avoid }`;

function warningOf({ sun }: Plan): string[] {
  if (!sun) return [];
  const cautions = sun.cautions.map(({ text }) => `<li>${escapeXml(text)}</li>`).join('');
  return [`<div class="warning">${escapeXml(sun.warning)}<ul>${cautions}</ul></div>`];
}

function shotsOf(plan: Plan): string[] {
  if (!plan.shots) return [];
  const notes = shotNotes(plan, plan.shots).map((note) => `<li>${escapeXml(note)}</li>`);
  return [
    `<div class="sides">${planDrawing(plan.shots)}<div><ul>${notes.join('')}</ul></div></div>`,
    `<h2>Passes (start in ${escapeXml(plan.timeZone)})</h2>`,
    tableOf(passTable(plan, plan.shots)),
  ];
}

function windowsOf({ windows, windowsFound }: Plan): string[] {
  if (windows.length === 0) return [];
  const rows = windows.map((window) => [String(window.rank), spanText(window.start, window.end), whyOf(window)]);
  return [`<h2>Windows: ${windows.length} of ${windowsFound}</h2>`, tableOf([['window', 'time', 'reasons'], ...rows])];
}

function whyOf({ reasons, sun }: PlannedWindow): string {
  return [...(sun ? [sun.warning] : []), reasons.join('; ')].join(' ');
}

/** The first row is the head. */
function tableOf([head, ...rows]: readonly (readonly string[])[]): string {
  const line = (cells: readonly string[], tag: string): string =>
    `<tr>${cells.map((cell) => `<${tag}>${escapeXml(cell)}</${tag}>`).join('')}</tr>`;
  return `<table>${line(head ?? [], 'th')}${rows.map((cells) => line(cells, 'td')).join('')}</table>`;
}
