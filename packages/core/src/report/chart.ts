import { type Html, html } from './html.js';
import { decimals, tenth, ticksOf } from './numbers.js';

/** One line of a chart; `name` is told at its right end where there are several. */
export interface Series {
  readonly name: string;
  /** Class that gives it its colour. */
  readonly look: string;
  readonly points: readonly { readonly x: number; readonly y: number }[];
}

/** A drawing with its words. */
export interface ChartText {
  readonly title: string;
  /** What the drawing shows, in words for those who do not see it. */
  readonly told: string;
  /** What the axes count. */
  readonly across: string;
}

const WIDTH = 280;
const HEIGHT = 150;
const LEFT = 44;
const RIGHT = WIDTH - 12;
const TOP = 8;
const BOTTOM = HEIGHT - 30;
/** More points than these are drawn without dots. */
const MOST_DOTS = 150;

/**
 * Lines of values over the frames of a pass, dots on the frames that are in the plate, crosses along the lower edge for those
 * that were left out.
 *
 * @param frames number of frames, which the axis spans
 * @param lost places of the frames that were left out
 */
export function frameChart(text: ChartText, series: readonly Series[], frames: number, lost: readonly number[]): Html {
  const values = series.flatMap(({ points }) => points.map(({ y }) => y));
  const [low, high] = widened(Math.min(...values), Math.max(...values));
  const axisX = scale(0, Math.max(1, frames - 1), LEFT + 4, RIGHT - 4);
  const axisY = scale(low, high, BOTTOM - 6, TOP + 4);
  const lines = series.map(({ name, look, points }) => {
    const places = points.map(({ x, y }) => [tenth(axisX(x)), tenth(axisY(y))] as const);
    const dots = points.length > MOST_DOTS ? [] : places;
    return html`<g class="${look}"><title>${name}</title><polyline class="line" points="${places.map((p) => p.join(',')).join(' ')}"/>${dots.map(
      ([x, y]) => html`<circle class="dot" cx="${x}" cy="${y}" r="1.8"/>`,
    )}</g>`;
  });
  const crosses = lost.map((x) => {
    const at = tenth(axisX(x));
    return html`<path class="lost" d="M${tenth(at - 2.5)} ${BOTTOM - 5}l5 5m0 -5l-5 5"/>`;
  });
  const body = html`${valueAxis(axisY, low, high)}${frameAxis(axisX, frames)}${lines}${crosses}`;
  return chart(text, body, series.length > 1 ? series : []);
}

/** Numbers of values in even steps from 0 on. */
export function histogram(text: ChartText, counts: readonly number[], stepPx: number): Html {
  const most = Math.max(1, ...counts);
  const axisX = scale(0, counts.length * stepPx, LEFT, RIGHT);
  const axisY = scale(0, most, BOTTOM, TOP + 4);
  const bars = counts.map((n, k) => {
    const [x, y] = [tenth(axisX(k * stepPx)), tenth(axisY(n))];
    return html`<rect class="bar" x="${tenth(x + 0.5)}" y="${y}" width="${tenth(axisX((k + 1) * stepPx) - x - 1)}" height="${tenth(BOTTOM - y)}"/>`;
  });
  const ticks = ticksOf(0, counts.length * stepPx, 4);
  const axis = ticks.values.map(
    (v) =>
      html`<text class="tick" x="${tenth(axisX(v))}" y="${BOTTOM + 12}" text-anchor="middle">${decimals(v, ticks.digits)}</text>`,
  );
  return chart(text, html`${valueAxis(axisY, 0, most)}${bars}${axis}`, []);
}

function chart({ title, told, across }: ChartText, body: Html, named: readonly Series[]): Html {
  const key = named.map(({ name, look }) => html`<span class="key ${look}">${name}</span>`);
  return html`<figure class="chart"><figcaption>${title}${key.length > 0 && html` <span class="keys">${key}</span>`}</figcaption>
<svg viewBox="0 0 ${WIDTH} ${HEIGHT}" role="img" aria-label="${told}">${body}<text class="tick" x="${RIGHT}" y="${HEIGHT - 4}" text-anchor="end">${across}</text></svg></figure>`;
}

function valueAxis(axisY: (y: number) => number, low: number, high: number): Html[] {
  const { values, digits } = ticksOf(low, high, 4);
  return values.map((v) => {
    const y = tenth(axisY(v));
    return html`<path class="grid" d="M${LEFT} ${y}H${RIGHT}"/><text class="tick" x="${LEFT - 5}" y="${y + 3}" text-anchor="end">${decimals(v, digits)}</text>`;
  });
}

function frameAxis(axisX: (x: number) => number, frames: number): Html[] {
  const { values } = ticksOf(0, Math.max(1, frames - 1), 5);
  return values
    .filter((v) => Number.isInteger(v))
    .map((v) => html`<text class="tick" x="${tenth(axisX(v))}" y="${BOTTOM + 12}" text-anchor="middle">${v}</text>`);
}

function scale(from: number, to: number, start: number, end: number): (value: number) => number {
  return (value) => start + ((value - from) / (to - from)) * (end - start);
}

/** A little room above and below, and some where all values are the same. */
function widened(low: number, high: number): [number, number] {
  const span = high - low;
  const room = span > 1e-9 * Math.abs(high) && span > 0 ? 0.08 * span : Math.max(1e-3, 0.05 * Math.abs(high));
  return [low - room, high + room];
}
