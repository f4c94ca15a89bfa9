import { type Html, html } from './html.js';
import { count, decimals, percent } from './numbers.js';
import type { ReportInput } from './report-types.js';
import { facts } from './table.js';

/** Name, verdict and the figures that matter most. */
export function headSection({ sidecar, frames }: ReportInput): Html {
  const { plate, passes, agreement, overlaps } = sidecar;
  const used = passes.reduce((sum, pass) => sum + pass.frames.length, 0);
  const all = frames.reduce((sum, { of }) => sum + of, 0);
  const placed = passes.filter((pass) => pass.placed).length;
  const joined = overlaps.some(({ refused }) => refused === null);
  return html`<header><div class="title"><p class="over">Plate report</p><h1>${sidecar.capture.name}</h1></div>
<button type="button" id="theme" class="quiet" hidden>Dark</button></header>
${sidecar.capture.synthetic && html`<p class="verdict"><strong>Synthetic.</strong> A program drew the frames of this plate; no camera took them.</p>`}
${verdict(sidecar)}
${facts(
  [
    ['Size', html`${plate.widthPx} × ${plate.heightPx} <small>px</small>`],
    ['Frames in the plate', html`${used} <small>of ${all}</small>`],
    ['Passes placed', html`${placed} <small>of ${passes.length}</small>`],
    ['Plate covered', percent(plate.covered)],
    ...(joined
      ? [['Overlaps agree to', html`${decimals(agreement.edgeRmsPx, 2)} <small>px rms</small>`] as const]
      : []),
  ],
  'figures',
)}`;
}

function verdict({ complete, gaps }: Pick<ReportInput['sidecar'], 'complete' | 'gaps'>): Html {
  if (complete) {
    return html`<p class="verdict"><strong>Whole.</strong> Every pass was placed, and the body is cut off nowhere.</p>`;
  }
  const places = gaps.map(({ where }) => html`<li>${where}</li>`);
  return html`<div class="verdict missing"><p><strong>Incomplete.</strong> ${count(gaps.length, 'place is', 'places are')} missing, and left transparent:</p><ul>${places}</ul></div>`;
}
