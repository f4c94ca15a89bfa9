import type { SidecarFrame, SidecarPass } from '../plate/sidecar.js';
import { frameChart, type Series } from './chart.js';
import { type Html, html } from './html.js';
import { lookOf } from './layers.js';
import { count, decimals, percent } from './numbers.js';
import { PLACED_WORDS } from './reason-words.js';
import type { ReportInput } from './report-types.js';
import { numbers, section, table } from './table.js';

/** Every pass in a line, and where it drifted. */
export function passesSection({ sidecar, frames }: ReportInput, drift: Html): Html {
  const columns = [
    'Pass',
    numbers('Frames used'),
    'Placed by',
    numbers('Turn, ° a frame'),
    numbers('Off the path, px'),
    numbers('Bent by the air, px'),
    numbers('Bent to join, px'),
    numbers('Clipped'),
  ];
  const rows = sidecar.passes.map((pass, k) => [
    html`<span class="key ${lookOf(k)}">${pass.name}</span>`,
    `${pass.frames.length} of ${frames[k]!.of}`,
    pass.placedBy === null ? 'not placed' : PLACED_WORDS[pass.placedBy],
    decimals(pass.track.rotationDegPerFrame, 4),
    pass.placed ? decimals(rms(pass.frames.map((f) => f.offPathPx)), 2) : '–',
    decimals(pass.track.bendPx, 2),
    pass.placed ? decimals(pass.joinPx, 2) : '–',
    pass.placed ? percent(Math.max(...pass.frames.map((f) => f.clipped)), 2) : '–',
  ]);
  return section(
    'passes',
    'Passes',
    table('Passes', columns, rows),
    html`<p class="note">Lengths are rms in frame px, bends per axis; clipped is the share of the frame that has most of it.</p>`,
    drift,
    sidecar.passes.flatMap(({ name, track }) =>
      track.gaps.map(
        ({ after, before, lost }) => html`<p class="note">${name}: ${cadenceWords(after, before, lost)}</p>`,
      ),
    ),
  );
}

function cadenceWords(after: string, before: string, lost: number): string {
  const steps = lost < 0 ? 'a doubled frame was put in' : `${count(lost, 'step is', 'steps are')} missing`;
  return `${steps} between ${after} and ${before}, as the drift shows.`;
}

/** What happened from frame to frame, a row of drawings for each pass. */
export function framesSection({ sidecar, frames }: ReportInput): Html {
  return section(
    'frames',
    'Frame by frame',
    html`<p class="note">Frames are counted from 0, as in the sidecar. Dots are in the plate; crosses on the lower edge were left out. Sharpness of 1 is the mean on the same ground. Off the path: how far from a smooth drift. Gain and sky: by what a frame’s light differs from the plate’s, sky in thousandths of the clipping point.</p>`,
    sidecar.passes.map((pass, k) => passCharts(pass, frames[k]!, lookOf(k))),
  );
}

function passCharts(pass: SidecarPass, { of, lost }: ReportInput['frames'][number], look: string): Html {
  const { name, sharp } = pass;
  if (pass.frames.length === 0)
    return html`<h3><span class="key ${look}">${name}</span></h3><p>No frame of it is in the plate.</p>`;
  const crosses = lost.map(({ index }) => index);
  const draw = (title: string, words: string, series: readonly Series[], digits: (v: number) => string): Html => {
    const values = series.flatMap(({ points }) => points.map(({ y }) => y));
    const told = `${name}: ${words} of ${count(pass.frames.length, 'frame', 'frames')}, from ${digits(Math.min(...values))} to ${digits(Math.max(...values))}; ${lost.length} left out`;
    return frameChart({ title, told, across: 'frame' }, series, of, crosses);
  };
  const one = (of: (frame: SidecarFrame) => number): Series[] => [{ name: '', look, points: pointsOf(pass, of) }];
  const channels = pass.frames[0]!.gain.length === 3 ? ['red', 'green', 'blue'] : ['grey'];
  const each = (of: (frame: SidecarFrame) => readonly number[]): Series[] =>
    channels.map((channel, c) => ({ name: channel, look: channel, points: pointsOf(pass, (f) => of(f)[c]!) }));
  return html`<h3><span class="key ${look}">${name}</span> <small>${sharp && preference(sharp)}</small></h3><div class="charts">
${draw(
  'Sharpness',
  'sharpness',
  one((f) => f.sharpness),
  (v) => decimals(v, 2),
)}
${draw(
  'Off the path, px',
  'distance from the smooth path in px',
  one((f) => f.offPathPx),
  (v) => decimals(v, 2),
)}
${draw(
  'Gain',
  'gain',
  each((f) => f.gain),
  (v) => decimals(v, 3),
)}
${draw(
  'Sky, ‰',
  'sky in thousandths',
  each((f) => f.sky.map((s) => 1000 * s)),
  (v) => decimals(v, 2),
)}
</div>`;
}

function pointsOf({ frames }: SidecarPass, of: (frame: SidecarFrame) => number) {
  return frames.map((frame) => ({ x: frame.index, y: of(frame) }));
}

function preference({ power, trades }: NonNullable<SidecarPass['sharp']>): string {
  const taken = trades.find((t) => t.power === power);
  if (power === 0 || !taken) return 'All frames count alike.';
  return `Weighed by sharpness to the power of ${power}: ${decimals(taken.sharpness, 2)} times as sharp as with even weights, and ${decimals(taken.noise, 2)} times the noise.`;
}

function rms(values: readonly number[]): number {
  return Math.sqrt(values.reduce((sum, v) => sum + v * v, 0) / values.length);
}
