import type { GridBox } from '../compute/grid-box.js';
import { createFloats, createPlane, type Plane } from '../compute/image.js';
import { defineTask, type Task } from '../compute/task.js';
import { CELL_PX, type CoarseStrip, FINE_LEVELS } from './coarse-strip.js';
import { type ContinuedStrip, continueStrip, WHOLE } from './continue-strip.js';
import { expand, reduce } from './pyramid.js';
import { findSeams, NOBODY, type Owners } from './seams.js';

/** The plate on its coarse grid, and what the strips are made of there. */
export interface CoarsePlate {
  /** Cells, more than the plate has on every side. */
  readonly box: GridBox;
  /** Joined light by channel, in shared memory. */
  readonly planes: readonly Float32Array[];
  readonly continued: readonly ContinuedStrip[];
  readonly owners: Owners;
  /** Levels of the whole pyramid, from the plate's own scale on. */
  readonly levels: number;
}

/** Joins the strips on the coarse grid, in a worker, so that the main thread goes on answering. */
export const joinCoarseTask: Task<readonly CoarseStrip[], CoarsePlate> = defineTask('blend/join-coarse');

const MOST_LEVELS = 7;

/**
 * Joins strips on the coarse grid band by band (Burt & Adelson 1983): each band of detail crosses from one strip to the
 * next over a width like its own wavelength. Masks are divided by their sum, so that black never bleeds in at an edge. The
 * coarsest band is no wider than the widest place that two strips share.
 */
export function joinCoarse(strips: readonly CoarseStrip[]): CoarsePlate {
  const levels = levelsFor(strips);
  const deep = levels - FINE_LEVELS;
  const margin = 4 * 2 ** deep;
  const boxes = strips.map((s) => widened(s.box, margin, 2 ** deep));
  const box = unionOf(boxes);
  const owners = findSeams(strips, box);
  const spread = spreadOut(owners);
  const continued = boxes.map((b, k) => shareOf(continueStrip(strips, k, b)));
  const masks = boxes.map((b, k) => maskOf(spread, k, b));
  const planes = strips[0]!.planes.map((_, c) => {
    const light = continued.map((s) => ({ width: s.box.width, height: s.box.height, data: s.planes[c]! }));
    const joined = createFloats(box.width * box.height, true);
    joined.set(joinBands(light, masks, boxes, box, deep).data);
    return joined;
  });
  return { box, planes, continued, owners, levels };
}

/** Levels whose widest crossing still fits into the widest place of the overlaps. */
function levelsFor(strips: readonly CoarseStrip[]): number {
  const box = unionOf(strips.map((s) => s.box));
  const count = new Uint8Array(box.width * box.height);
  for (const { box: own, cover } of strips) {
    for (let i = 0; i < cover.length; i++) {
      if (cover[i]! < WHOLE) continue;
      const [x, y] = [(i % own.width) + own.x0 - box.x0, Math.floor(i / own.width) + own.y0 - box.y0];
      count[y * box.width + x]!++;
    }
  }
  const halfWidth = CELL_PX * deepest(count, box.width, box.height);
  return Math.max(FINE_LEVELS, Math.min(MOST_LEVELS, Math.floor(Math.log2(Math.max(2, halfWidth)))));
}

/** Largest city-block distance from a cell that two strips share to one that they do not. */
function deepest(count: Uint8Array, width: number, height: number): number {
  const d = new Uint16Array(count.length);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const i = y * width + x;
      if (count[i]! >= 2) d[i] = 1 + Math.min(x > 0 ? d[i - 1]! : 0, y > 0 ? d[i - width]! : 0);
    }
  }
  let most = 0;
  for (let y = height - 1; y >= 0; y--) {
    for (let x = width - 1; x >= 0; x--) {
      const i = y * width + x;
      if (count[i]! < 2) continue;
      d[i] = Math.min(d[i]!, 1 + (x < width - 1 ? d[i + 1]! : 0), 1 + (y < height - 1 ? d[i + width]! : 0));
      most = Math.max(most, d[i]!);
    }
  }
  return most;
}

/** A box with a margin, beginning at a multiple of `step`, so that its pyramid lies on that of the plate. */
function widened(box: GridBox, margin: number, step: number): GridBox {
  const x0 = step * Math.floor((box.x0 - margin) / step);
  const y0 = step * Math.floor((box.y0 - margin) / step);
  return { x0, y0, width: box.x0 + box.width + margin - x0, height: box.y0 + box.height + margin - y0 };
}

function unionOf(boxes: readonly GridBox[]): GridBox {
  const x0 = Math.min(...boxes.map((b) => b.x0));
  const y0 = Math.min(...boxes.map((b) => b.y0));
  return {
    x0,
    y0,
    width: Math.max(...boxes.map((b) => b.x0 + b.width)) - x0,
    height: Math.max(...boxes.map((b) => b.y0 + b.height)) - y0,
  };
}

/** How far owners are carried beyond the coverage, cells, so that bands have an owner as far as pixels ask for them. */
const SPREAD_CELLS = 4;

/** Owners, carried on beyond the coverage. */
function spreadOut({ box, label }: Owners): Owners {
  let last = label;
  const { width } = box;
  for (let round = 0; round < SPREAD_CELLS; round++) {
    const next = last.slice();
    for (let i = 0; i < last.length; i++) {
      if (last[i] !== NOBODY) continue;
      const x = i % width;
      const near = [i - width, x > 0 ? i - 1 : -1, x < width - 1 ? i + 1 : -1, i + width];
      const from = near.find((j) => j >= 0 && j < last.length && last[j] !== NOBODY);
      if (from !== undefined) next[i] = last[from]!;
    }
    last = next;
  }
  return { box, label: last };
}

/** How much of each cell of a box belongs to a strip, blurred by 1 2 1 as the finer bands' masks would be. */
function maskOf({ box, label }: Owners, k: number, part: GridBox): Plane {
  const { width, height } = part;
  const owns = (x: number, y: number): number => {
    const [u, v] = [x + part.x0 - box.x0, y + part.y0 - box.y0];
    return u >= 0 && v >= 0 && u < box.width && v < box.height && label[v * box.width + u] === k ? 1 : 0;
  };
  const mask = createPlane(width, height);
  const rows = createPlane(width, height);
  for (let y = 0, i = 0; y < height; y++) {
    for (let x = 0; x < width; x++, i++) rows.data[i] = (owns(x - 1, y) + 2 * owns(x, y) + owns(x + 1, y)) / 4;
  }
  for (let i = 0; i < mask.data.length; i++) {
    const above = rows.data[i < width ? i : i - width]!;
    const below = rows.data[i + width < rows.data.length ? i + width : i]!;
    mask.data[i] = (above + 2 * rows.data[i]! + below) / 4;
  }
  return mask;
}

function joinBands(
  lights: readonly Plane[],
  masks: readonly Plane[],
  boxes: readonly GridBox[],
  box: GridBox,
  deep: number,
): Plane {
  const tops: Plane[] = [];
  const sums: Plane[] = [];
  for (let level = 0, size = box; level <= deep; level++) {
    tops.push(createPlane(size.width, size.height));
    sums.push(createPlane(size.width, size.height));
    size = { ...size, width: (size.width + 1) >> 1, height: (size.height + 1) >> 1 };
  }
  lights.forEach((light, k) => {
    let image = light;
    let mask = masks[k]!;
    for (let level = 0; level <= deep; level++) {
      const next = level < deep ? reduce(image) : undefined;
      const low = next && expand(next, image.width, image.height);
      const [left, top] = [(boxes[k]!.x0 - box.x0) >> level, (boxes[k]!.y0 - box.y0) >> level];
      const whole = tops[level]!;
      const sum = sums[level]!;
      for (let y = 0, i = 0; y < image.height && y + top < whole.height; y++, i = y * image.width) {
        let to = (y + top) * whole.width + left;
        const end = i + Math.min(image.width, whole.width - left);
        for (; i < end; i++, to++) {
          whole.data[to]! += mask.data[i]! * (image.data[i]! - (low ? low.data[i]! : 0));
          sum.data[to]! += mask.data[i]!;
        }
      }
      if (!next) break;
      image = next;
      mask = reduce(mask);
    }
  });
  let out: Plane | undefined;
  for (let level = deep; level >= 0; level--) {
    const top = tops[level]!;
    const up = out && expand(out, top.width, top.height);
    for (let i = 0; i < top.data.length; i++) {
      const sum = sums[level]!.data[i]!;
      top.data[i] = (sum > 0 ? top.data[i]! / sum : 0) + (up ? up.data[i]! : 0);
    }
    out = top;
  }
  return out!;
}

/** The same in shared memory. */
function shareOf(strip: ContinuedStrip): ContinuedStrip {
  const share = (plane: Float32Array): Float32Array => {
    const out = createFloats(plane.length, true);
    out.set(plane);
    return out;
  };
  const { box, planes, beyond, offset } = strip;
  return { box, planes: planes.map(share), beyond: beyond.map(share), offset: offset.map(share) };
}
