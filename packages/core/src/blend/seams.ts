import { boxesTouch, type GridBox } from '../compute/grid-box.js';
import { minCut } from '../compute/min-cut.js';
import type { CoarseStrip } from './coarse-strip.js';

/** Owner of a cell or pixel that no strip covers. */
export const NOBODY = 255;

/** Which strip each cell of the coarse grid belongs to, by index; {@link NOBODY} where none covers it. */
export interface Owners {
  readonly box: GridBox;
  /** In shared memory. */
  readonly label: Uint8Array;
}

/**
 * Decides where the plate is cut. Strips are added one by one; each takes the cells that it covers alone, and where it
 * meets the ones before it a minimum cut finds the way that disagrees least on both sides and avoids strong edges, with
 * a pull towards the strip with more weight, which has less noise and sharper frames (Kwatra et al. 2003).
 *
 * @param box cells of the plate
 */
export function findSeams(strips: readonly CoarseStrip[], box: GridBox): Owners {
  const label = new Uint8Array(new SharedArrayBuffer(box.width * box.height)).fill(NOBODY);
  strips.forEach((strip, k) => {
    if (!boxesTouch(strip.box, box)) return;
    const meeting = takeFree(strips, k, { box, label });
    if (meeting) cut(strips, k, { box, label }, meeting);
  });
  return { box, label };
}

/** From this share of a cell on a strip may own it. */
const OWNABLE = 0.5;

/** Gives a strip the cells that only it covers; the box of those where it meets others, undefined when there are none. */
function takeFree(strips: readonly CoarseStrip[], k: number, { box, label }: Owners): GridBox | undefined {
  const strip = strips[k]!;
  let [left, top, right, bottom] = [Number.POSITIVE_INFINITY, Number.POSITIVE_INFINITY, -1, -1];
  for (let v = 0; v < strip.box.height; v++) {
    for (let u = 0; u < strip.box.width; u++) {
      const share = strip.cover[v * strip.box.width + u]!;
      const [x, y] = [u + strip.box.x0 - box.x0, v + strip.box.y0 - box.y0];
      if (!(share > 0) || x < 0 || y < 0 || x >= box.width || y >= box.height) continue;
      const i = y * box.width + x;
      const owner = label[i]!;
      if (owner === NOBODY || valueAt(strips[owner]!, 'cover', x + box.x0, y + box.y0) < Math.min(OWNABLE, share)) {
        label[i] = k;
      } else if (share >= OWNABLE) {
        left = Math.min(left, x);
        right = Math.max(right, x);
        top = Math.min(top, y);
        bottom = Math.max(bottom, y);
      }
    }
  }
  if (right < 0) return undefined;
  const [x0, y0] = [Math.max(0, left - 1), Math.max(0, top - 1)];
  return {
    x0: x0 + box.x0,
    y0: y0 + box.y0,
    width: Math.min(box.width - 1, right + 1) - x0 + 1,
    height: Math.min(box.height - 1, bottom + 1) - y0 + 1,
  };
}

/** What a cell of less light or less coverage costs beside one with more, by the natural log of the ratio of weights. */
const PULL = 0.02;
/** Least cost of cutting between two cells, so that ways stay short. */
const SHORTNESS = 0.02;
/** What full disagreement and a full change of light from cell to cell cost. */
const DISAGREEMENT = 10;
const EDGE = 1;
/** Light below this share of the brightest cell does not make differences count for more. */
const DARK_SHARE = 0.03;

function cut(strips: readonly CoarseStrip[], k: number, { box, label }: Owners, part: GridBox): void {
  const { width, height } = part;
  const bias = new Float64Array(width * height);
  const cost = new Float64Array(width * height).fill(Number.NaN);
  const floor =
    DARK_SHARE * strips[k]!.planes.reduce((most, plane) => plane.reduce((m, v) => Math.max(m, v), most), 1e-6);
  const indexOf = (x: number, y: number): number => (y - box.y0) * box.width + x - box.x0;
  for (let v = 0, i = 0; v < height; v++) {
    for (let u = 0; u < width; u++, i++) {
      const [x, y] = [u + part.x0, v + part.y0];
      const owner = label[indexOf(x, y)]!;
      if (owner === k) bias[i] = Number.NEGATIVE_INFINITY;
      else if (owner === NOBODY) bias[i] = 0;
      else if (valueAt(strips[k]!, 'cover', x, y) < OWNABLE) bias[i] = Number.POSITIVE_INFINITY;
      else {
        const [theirs, ours] = [valueAt(strips[owner]!, 'weight', x, y), valueAt(strips[k]!, 'weight', x, y)];
        bias[i] = PULL * Math.log(Math.max(theirs, 1e-6) / Math.max(ours, 1e-6));
        cost[i] =
          DISAGREEMENT * disagreement(strips[owner]!, strips[k]!, x, y, floor) + EDGE * edge(strips[k]!, x, y, floor);
      }
    }
  }
  const between = (step: number): Float64Array =>
    cost.map((here, i) => SHORTNESS + costBetween(here, cost[i + step] ?? Number.NaN));
  const found = minCut(width, height, bias, between(1), between(width));
  for (let v = 0, i = 0; v < height; v++) {
    for (let u = 0; u < width; u++, i++) {
      const at = indexOf(u + part.x0, v + part.y0);
      if (found[i] === 1 && label[at] !== NOBODY && valueAt(strips[k]!, 'cover', u + part.x0, v + part.y0) >= OWNABLE) {
        label[at] = k;
      }
    }
  }
}

/**
 * What it costs to cut between two cells. Where both strips meet on one side only, at the edge of a strip's coverage, the other
 * side would show as much, if it were there: no cut is cheaper for being made where nobody looks.
 */
function costBetween(one: number, other: number): number {
  if (Number.isNaN(one)) return Number.isNaN(other) ? 0 : 2 * other;
  return Number.isNaN(other) ? 2 * one : one + other;
}

/** Difference of two strips at a cell relative to their light, 0..1. */
function disagreement(a: CoarseStrip, b: CoarseStrip, x: number, y: number, floor: number): number {
  let apart = 0;
  let light = floor;
  for (let c = 0; c < a.planes.length; c++) {
    const [va, vb] = [planeAt(a, a.planes[c]!, x, y), planeAt(b, b.planes[c]!, x, y)];
    apart += Math.abs(va - vb) / a.planes.length;
    light += (Math.abs(va) + Math.abs(vb)) / (2 * a.planes.length);
  }
  return Math.min(1, apart / light);
}

/** Change of a strip's light around a cell relative to it, 0..1. */
function edge(strip: CoarseStrip, x: number, y: number, floor: number): number {
  const plane = strip.planes[strip.planes.length >> 1]!;
  const at = (u: number, v: number): number => planeAt(strip, plane, u, v);
  const change = Math.hypot(at(x + 1, y) - at(x - 1, y), at(x, y + 1) - at(x, y - 1)) / 2;
  return Math.min(1, change / (Math.abs(at(x, y)) + floor));
}

function valueAt(strip: CoarseStrip, which: 'cover' | 'weight', x: number, y: number): number {
  return planeAt(strip, strip[which], x, y);
}

function planeAt({ box }: CoarseStrip, plane: Float32Array, x: number, y: number): number {
  const [u, v] = [x - box.x0, y - box.y0];
  return u >= 0 && v >= 0 && u < box.width && v < box.height ? plane[v * box.width + u]! : 0;
}
