import { histogram } from './chart.js';
import { type Html, html } from './html.js';
import { count, decimals, threeDigits } from './numbers.js';
import type { ReportInput } from './report-types.js';
import { numbers, section, table } from './table.js';

const BINS = 24;

/** How well the passes fit where they overlap. */
export function overlapSection({ sidecar, residuals }: ReportInput): Html {
  const { overlaps, agreement, passes } = sidecar;
  if (overlaps.length === 0) {
    const words =
      passes.length === 1 ? 'There is one pass, and nothing to join.' : 'No overlap of passes was recognised.';
    return section('overlaps', 'Overlaps', html`<p>${words}</p>`);
  }
  const columns = ['Passes', numbers('Ties'), numbers('Residual, px'), numbers('Correlation'), 'Used'];
  const rows = overlaps.map(({ fixed, moving, ties, rmsPx, correlation, tested, refused, detail }) => [
    `${fixed} – ${moving}`,
    ties,
    rmsPx === null ? '–' : decimals(rmsPx, 2),
    decimals(correlation, 2),
    refused === null ? (tested ? 'yes, a loop agrees' : 'yes') : `no: ${detail}`,
  ]);
  const lengths = residuals.map((ties) => ties.map(({ dx, dy }) => Math.hypot(dx, dy)));
  const longest = Math.max(0, ...lengths.flat());
  const stepPx = stepFor(longest / BINS);
  const charts = lengths.map((own, k) => {
    if (own.length === 0) return null;
    const { fixed, moving } = overlaps[k]!;
    const median = [...own].sort((a, b) => a - b)[own.length >> 1]!;
    const told = `Residuals of ${count(own.length, 'tie', 'ties')} of ${fixed} and ${moving}: median ${decimals(median, 2)} px, longest ${decimals(Math.max(...own), 2)} px`;
    const text = { title: `${fixed} – ${moving}: ties by residual`, told, across: 'px' };
    return histogram(text, countsOf(own, stepPx, longest), stepPx);
  });
  return section(
    'overlaps',
    'Overlaps',
    table('Overlaps', columns, rows),
    html`<p class="note">A tie is a patch that two passes show. Its residual is what the poses leave, rms per axis in frame px, before the overlaps are joined locally.${loopWords(agreement)}</p>`,
    html`<div class="charts">${charts}</div>`,
  );
}

function loopWords({ loops, loopRmsPx, heldOutRmsPx }: ReportInput['sidecar']['agreement']): string {
  if (loops === 0) return '';
  return ` Round ${count(loops, 'loop', 'loops')} of overlaps ${decimals(loopRmsPx, 2)} px are left; an overlap is told from the others to ${threeDigits(heldOutRmsPx)} px.`;
}

/** 1, 2 or 5 times a power of ten. */
function stepFor(least: number): number {
  if (!(least > 0)) return 1;
  const power = 10 ** Math.floor(Math.log10(least));
  return [1, 2, 5, 10].map((m) => m * power).find((step) => step >= least)!;
}

function countsOf(lengths: readonly number[], stepPx: number, longest: number): number[] {
  const counts = new Array<number>(Math.floor(longest / stepPx) + 1).fill(0);
  for (const length of lengths) counts[Math.floor(length / stepPx)]!++;
  return counts;
}
