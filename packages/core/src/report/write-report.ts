import { createHash } from 'node:crypto';
import { writeFile } from 'node:fs/promises';
import { writeWhole } from '../plate/atomic.js';
import { headSection } from './head-section.js';
import { Html, html, inlineJson, inlineScript } from './html.js';
import { layersOf } from './layers.js';
import { fileSection, leftOutSection, noticeSection, settingsSection } from './list-sections.js';
import { overlapSection } from './overlap-section.js';
import { type PageParts, pageParts } from './page-parts.js';
import { framesSection, passesSection } from './pass-section.js';
import { driftFigure, plateSection } from './plate-section.js';
import type { ReportInput } from './report-types.js';
import { makeTiles, type PlateTiles, TILE_PX } from './tiles.js';
import { whereSection } from './where-section.js';

/** Settings of {@link writeReport}. */
export interface WriteReportOptions {
  /** Replace an existing file. Default false. */
  readonly force?: boolean;
  readonly signal?: AbortSignal | undefined;
}

/** Most bytes of a report. */
export const MOST_REPORT_BYTES = 15_000_000;
/** What a JPEG grows by when it is written as text. */
const BASE64 = 4 / 3;

/**
 * Writes the report: one HTML page that holds all that it shows, opens without a network, and by its content security policy
 * could not ask for anything if it wanted to. Tiles of the plate are taken as fine as {@link MOST_REPORT_BYTES} allows.
 * Names of files are text, wherever they stand. The same input gives the same bytes; the file appears whole or not at all.
 * Throws what {@link writeWhole} throws, and `InterruptedError` on abort.
 */
export async function writeReport(path: string, input: ReportInput, options: WriteReportOptions = {}): Promise<void> {
  const { force = false, signal } = options;
  const parts = await pageParts();
  const layers = await layersOf(input);
  const sections = [
    whereSection(input),
    overlapSection(input),
    framesSection(input),
    leftOutSection(input),
    noticeSection(input),
    settingsSection(input),
    fileSection(input),
  ];
  const without = sections.map((part) => part.text).join('').length + layers.map((l) => l.drawing.text).join('').length;
  const fixed = without + parts.scripts.join('').length + parts.style.length + ROOM_BYTES;
  const tiles = await makeTiles(input.source, { mostBytes: (MOST_REPORT_BYTES - fixed) / BASE64, signal });
  const body = html`<main>
${headSection(input)}
${plateSection(input, tiles, layers)}
${passesSection(input, driftFigure(input, tiles))}
${sections}
</main>`;
  const page = pageOf(`Plate of ${input.sidecar.capture.name}`, body, dataOf(tiles), parts);
  await writeWhole(path, (temporary) => writeFile(temporary, page.text, { flag: 'wx' }), { force });
}

/** Room for the rest of the page, a small view of the plate among it. */
const ROOM_BYTES = 400_000;

function dataOf({ widthPx, heightPx, halvings, levels, tiles }: PlateTiles): Html {
  return inlineJson({
    ...{ width: widthPx, height: heightPx, halvings, levels, tileSize: TILE_PX },
    tiles: Object.fromEntries([...tiles].map(([name, jpeg]) => [name, jpeg.toString('base64')])),
  });
}

/** The mark on the style keeps the viewer from adding one of its own, which the policy would refuse. */
function pageOf(title: string, body: Html, data: Html, { scripts, style }: PageParts): Html {
  const programs = scripts.map(inlineScript);
  const policy = [
    "default-src 'none'",
    `script-src ${programs.map(sourceOf).join(' ')}`,
    `style-src ${sourceOf(style)}`,
    'img-src data: blob:',
    "base-uri 'none'",
    "form-action 'none'",
  ];
  return html`<!doctype html>
<html lang="en"><head><meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="${new Html(policy.join('; '))}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>${title}</title>
<style data-openseadragon-mobile-css="true">${new Html(style)}</style></head><body>
${body}
<script type="application/json" id="plate-data">${data}</script>
${programs.map((program) => html`<script>${new Html(program)}</script>`)}
</body></html>
`;
}

function sourceOf(text: string): string {
  return `'sha256-${createHash('sha256').update(text).digest('base64')}'`;
}
