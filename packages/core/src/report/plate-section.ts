import { type Html, html } from './html.js';
import { type Layer, lookOf, tracks } from './layers.js';
import type { ReportInput } from './report-types.js';
import { section } from './table.js';
import type { PlateTiles } from './tiles.js';

/** The plate to be looked at, and what can be laid over it. */
export function plateSection({ sidecar }: ReportInput, made: PlateTiles, layers: readonly Layer[]): Html {
  const drawn = layers.map(({ id, drawing }) => html`<g class="layer" id="layer-${id}" display="none">${drawing}</g>`);
  return section(
    'plate',
    'Plate',
    html`<div class="plate"><div class="stage">
<div id="viewer" role="application" aria-label="The plate. Arrow keys move it, plus and minus zoom, 0 shows all of it, 1 shows its own pixels."></div>
<svg id="overlay" aria-hidden="true"><g id="space">${drawn}</g></svg>
<noscript><p class="off">The viewer needs scripts. The picture lies beside this report as ${sidecar.preview.file}.</p></noscript>
</div>
<div class="tools" role="group" aria-label="Zoom">
<button type="button" id="whole">Whole plate</button><button type="button" id="true-size">1:1</button>
<button type="button" id="closer" aria-label="Zoom in">+</button><button type="button" id="farther" aria-label="Zoom out">−</button>
<output id="scale" aria-label="Scale"></output>
<label class="brighter"><input type="checkbox" id="brighter"> Brighter, to look into the dark</label></div>
<fieldset class="layers"><legend>Layers</legend>${layers.map(choice)}</fieldset></div>
<p class="note">${sizeWords(made)} ${backgroundWords(sidecar)}</p>`,
  );
}

function choice({ id, name, note, ends }: Layer): Html {
  const scale =
    ends &&
    html`<span class="scale"><span>${ends[0]}</span><span class="ramp ramp-${id}"></span><span>${ends[1]}</span></span>`;
  return html`<div class="choice"><label><input type="checkbox" data-layer="${id}"> ${name}</label><p>${note}${scale}</p></div>`;
}

function sizeWords({ halvings, quality, widthPx, heightPx }: PlateTiles): string {
  if (halvings === 0) return `At 1:1 these are the master\u2019s own pixels, as JPEG of quality ${quality}.`;
  return `The finest view here is ${widthPx} × ${heightPx} px, 1:${2 ** halvings} of the master: all of it would not fit into this file. JPEG of quality ${quality}.`;
}

/** What became of the sky, and what stands for what is transparent. */
function backgroundWords({ plate: { background, covered } }: ReportInput['sidecar']): string {
  const grey = 'is an even grey here and transparent in the master.';
  if (background === 'cut') {
    return `The light of the sky is taken off, and what lies outside the disc${covered < 1 ? ' or is covered by no frame' : ''} ${grey}`;
  }
  const subtracted = background === 'subtract' ? 'The light of the sky is taken off, as in the master.' : '';
  return covered < 1 ? `${subtracted} What no frame covers ${grey}`.trim() : subtracted;
}

/** Where each pass drifted, on a small view of the plate, to be printed, too. */
export function driftFigure(input: ReportInput, { tiles, widthPx, heightPx, halvings, levels }: PlateTiles): Html {
  const { source, sidecar } = input;
  const small = tiles.get('0/0/0') ?? null;
  const step = 2 ** (halvings + levels - 1);
  const [width, height] = [
    Math.ceil(widthPx / 2 ** (levels - 1)) * step,
    Math.ceil(heightPx / 2 ** (levels - 1)) * step,
  ];
  const keys = sidecar.passes.map(({ name, frames }, k) =>
    frames.length === 0 ? null : html`<span class="key ${lookOf(k)}">${name}</span>`,
  );
  return html`<figure class="drift"><figcaption>Drift: the middle of each frame, a ring on the first <span class="keys">${keys}</span></figcaption>
<svg viewBox="0 0 ${source.width} ${source.height}" role="img" aria-label="Where the middle of each frame lies on the plate, pass by pass">
${small && html`<image href="data:image/jpeg;base64,${small.toString('base64')}" width="${width}" height="${height}" preserveAspectRatio="none"/>`}
<g class="shade"><rect width="${source.width}" height="${source.height}"/></g>${tracks(input)}</svg></figure>`;
}
