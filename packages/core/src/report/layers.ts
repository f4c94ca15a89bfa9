import { type Html, html } from './html.js';
import { COVERAGE_RAMP, type MapPicture, mapPicture, SHARPNESS_RAMP } from './map-picture.js';
import { decimals, tenth } from './numbers.js';
import { middlesOf, outlineOf, type Place, seamsOf } from './outlines.js';
import type { ReportInput } from './report-types.js';

/** A layer over the plate: a drawing in plate px, and what it is called. */
export interface Layer {
  readonly id: string;
  readonly name: string;
  /** What it shows and how to read it. */
  readonly note: string;
  /** Values at both ends of its colours, for a map. */
  readonly ends: readonly [string, string] | null;
  readonly drawing: Html;
}

/** Class of a pass's colour; there are six. */
export function lookOf(index: number): string {
  return `p${index % 6}`;
}

/** Everything that can be laid over the plate, in the order in which it is offered; later ones are drawn on top. */
export async function layersOf(input: ReportInput): Promise<Layer[]> {
  const { maps, sidecar, features } = input;
  const coverage = await mapPicture(maps.coverage, COVERAGE_RAMP);
  const sharpness = await mapPicture(maps.sharpness, SHARPNESS_RAMP);
  const several = sidecar.passes.filter((p) => p.placed).length > 1;
  return [
    mapLayer(
      'coverage',
      'Coverage',
      'Number of frames that show each place.',
      coverage,
      (v) => String(Math.round(v)),
      input,
    ),
    mapLayer(
      'sharpness',
      'Sharpness chosen',
      'How sharp the frames are that lit ground was made of; 1 is the mean of all that show it.',
      sharpness,
      (v) => decimals(v, 2),
      input,
    ),
    plain('footprints', 'Pass footprints', 'Outline of all frames of each pass.', footprints(input)),
    ...(several ? [plain('seams', 'Seams', 'Where the plate goes from one pass to the next.', seams(input))] : []),
    ...(input.residuals.some((ties) => ties.length > 0) ? [residualLayer(input)] : []),
    plain('tracks', 'Drift tracks', 'Middle of each frame; a ring marks the first.', tracks(input)),
    ...(features && features.length > 0
      ? [plain('features', 'Named features', 'Names in grey lie in the dark.', html`${features.map(featureOf)}`)]
      : []),
  ];
}

function plain(id: string, name: string, note: string, drawing: Html): Layer {
  return { id, name, note, ends: null, drawing };
}

function mapLayer(
  id: string,
  name: string,
  note: string,
  { address, low, high }: MapPicture,
  words: (value: number) => string,
  { maps: { stepPx, coverage } }: ReportInput,
): Layer {
  const [width, height] = [coverage.width * stepPx, coverage.height * stepPx];
  const drawing = html`<image href="${address}" x="${-stepPx / 2}" y="${-stepPx / 2}" width="${width}" height="${height}" preserveAspectRatio="none"/>`;
  return { id, name, note, ends: [words(low), words(high)], drawing };
}

function footprints({ sidecar }: ReportInput): Html {
  return html`${sidecar.passes.map(({ name, frames, widthPx, heightPx }, k) => {
    if (frames.length === 0) return null;
    const outline = outlineOf(
      frames.map((f) => f.pose),
      widthPx,
      heightPx,
    );
    const corner = outline.reduce((a, b) => (a.x + a.y < b.x + b.y ? a : b));
    return html`<g class="${lookOf(k)}"><path class="halo" d="${pathOf(outline)}z"/><path class="stroke" d="${pathOf(outline)}z"/>${label(corner, name, 8, 18)}</g>`;
  })}`;
}

function seams({ owners }: ReportInput): Html {
  const d = seamsOf(owners)
    .map(({ from, to }) => pathOf([from, to]))
    .join('');
  return html`<path class="halo" d="${d}"/><path class="stroke seam" d="${d}"/>`;
}

/** Drift of each pass: a line through the middles of its frames, a dot on each, a ring on the first. */
export function tracks({ sidecar }: ReportInput): Html {
  return html`${sidecar.passes.map(({ name, frames, widthPx, heightPx }, k) => {
    if (frames.length === 0) return null;
    const middles = middlesOf(
      frames.map((f) => f.pose),
      widthPx,
      heightPx,
    );
    const dots = middles.map(dotAt).join('');
    const first = middles[0]!;
    return html`<g class="${lookOf(k)}"><path class="halo" d="${pathOf(middles)}"/><path class="stroke" d="${pathOf(middles)}"/><path class="dots" d="${dots}"/><path class="ring" d="${dotAt(first)}"/><path class="hole" d="${dotAt(first)}"/>${label(first, name, 9, -7)}</g>`;
  })}`;
}

/** Share of the plate's longer side that the usual residual is drawn as long as. */
const USUAL_LENGTH = 0.02;

function residualLayer(input: ReportInput): Layer {
  const all = input.residuals.flat();
  const rms = Math.sqrt(all.reduce((sum, { dx, dy }) => sum + dx * dx + dy * dy, 0) / all.length);
  const wish = rms > 0 ? (USUAL_LENGTH * Math.max(input.source.width, input.source.height)) / rms : 1;
  const power = 10 ** Math.floor(Math.log10(wish));
  const times = [5, 2, 1].map((m) => m * power).find((m) => m <= wish)!;
  const lines = all
    .map(({ x, y, dx, dy }) =>
      pathOf([
        { x, y },
        { x: x + dx * times, y: y + dy * times },
      ]),
    )
    .join('');
  const dots = all.map(dotAt).join('');
  const note = `What the poses leave between two passes, drawn ${times} times as long; rms ${decimals(rms, 2)} px. Most of it is undone where they are joined.`;
  return plain(
    'residuals',
    'Residual vectors',
    note,
    html`<path class="halo" d="${lines}"/><path class="stroke residual" d="${lines}"/><path class="dots residual" d="${dots}"/>`,
  );
}

function featureOf({ name, x, y, kind, lit }: NonNullable<ReportInput['features']>[number]): Html {
  return html`<g class="${lit ? 'lit' : 'unlit'}"><title>${name}, ${kind}</title><path class="dots" d="${dotAt({ x, y })}"/>${label({ x, y }, name, 6, 4)}</g>`;
}

/** Words beside a place; the page keeps their size whatever the zoom. */
function label({ x, y }: Place, text: string, right: number, down: number): Html {
  return html`<g transform="translate(${tenth(x)} ${tenth(y)})"><text class="label" x="${right}" y="${down}">${text}</text></g>`;
}

function pathOf(places: readonly Place[]): string {
  return places.map(({ x, y }, k) => `${k === 0 ? 'M' : 'L'}${tenth(x)} ${tenth(y)}`).join('');
}

/** A line of no length, whose round ends make a dot of the same size at every zoom. */
function dotAt({ x, y }: Place): string {
  return `M${tenth(x)} ${tenth(y)}h0`;
}
