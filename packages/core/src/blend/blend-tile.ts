import { gaussianBlur } from '../compute/gaussian.js';
import { boxesTouch, type GridBox } from '../compute/grid-box.js';
import { createPlane, type Plane } from '../compute/image.js';
import { defineTask, type Task } from '../compute/task.js';
import { type RasterFile, withRaster } from '../job/raster-file.js';
import { readStrip, type StripFile, type StripWindow } from '../strip/strip-store.js';
import { CELL_PX, FINE_LEVELS } from './coarse-strip.js';
import type { CoarsePlate } from './join-coarse.js';
import { expand, reduce } from './pyramid.js';
import { NOBODY, type Owners } from './seams.js';

/** Input of {@link blendTileTask}: a tile of the plate, to be written to the raster, the coverage as its last plane. */
export interface BlendTileInput {
  /** Plate px; begins on a cell of the coarse grid. */
  readonly tile: GridBox;
  /** Strips by their place on the plate. */
  readonly strips: readonly StripFile[];
  readonly coarse: CoarsePlate;
  readonly plate: RasterFile;
}

/** Joins the strips within a tile, in a worker. Gives the number of covered pixels. */
export const blendTileTask: Task<BlendTileInput, number> = defineTask('blend/tile');

/** What lies farther from a pixel than this has no say in its three finest bands; in whole cells. */
const HALO_PX: number = 3 * CELL_PX;
/**
 * Gaussian σ, px, over which the finest band crosses over, too: passes differ in how much the air has blurred them, which a
 * hard cut across a bright edge shows as a step. Narrow enough for strips that lie on each other to a fraction of it.
 */
const CROSSING_PX = 2;
/** Cells around a window that expanding needs. */
const RIM_CELLS = 2;

/** A strip's part of a window. */
interface Part extends StripWindow {
  readonly index: number;
}

export function runBlendTile({ tile, strips, coarse, plate }: BlendTileInput): number {
  const window = {
    x0: tile.x0 - HALO_PX,
    y0: tile.y0 - HALO_PX,
    width: roundUp(tile.width) + 2 * HALO_PX,
    height: roundUp(tile.height) + 2 * HALO_PX,
  };
  const parts = strips.flatMap((strip, index) =>
    boxesTouch(strip.box, window) ? [{ ...readStrip(strip, window), index }] : [],
  );
  const owner = ownersOf(parts, coarse, window);
  const holders = parts.filter((part) => owner.includes(part.index));
  let covered = 0;
  withRaster(plate, 'r+', (open) => {
    for (let c = 0; c < plate.planes - 1; c++) {
      const light =
        holders.length === 0
          ? createPlane(window.width, window.height)
          : holders.length === 1
            ? alone(holders[0]!, strips.length, coarse, c, window)
            : joined(parts, owner, coarse, c, window);
      const out = cropped(light, tile);
      clear(out, owner, window.width, tile);
      open.write(c, tile, out);
    }
    const coverage = cropped({ ...window, data: isNot(owner, NOBODY) }, tile);
    for (let i = 0; i < coverage.length; i++) covered += coverage[i]!;
    open.write(plate.planes - 1, tile, coverage);
  });
  return covered;
}

function roundUp(sizePx: number): number {
  return CELL_PX * Math.ceil(sizePx / CELL_PX);
}

/**
 * Which strip each pixel of a window belongs to: of those that cover it the one whose cells are nearest, the seam running
 * smoothly between the cells; the one with the most weight where no owner of a cell does.
 */
function ownersOf(parts: readonly Part[], { owners }: CoarsePlate, window: GridBox): Uint8Array {
  const owner = new Uint8Array(window.width * window.height).fill(NOBODY);
  const best = new Float32Array(owner.length).fill(-1);
  const cells = cellsOf(window);
  const labels = labelsOf(owners, cells);
  for (const { index, weight } of parts) {
    // With one part there is nothing to decide.
    const own = parts.length > 1 && labels.includes(index) ? is(labels, index) : undefined;
    const nearness = own && fine(own, cells, FINE_LEVELS);
    for (let i = 0; i < owner.length; i++) {
      if (!(weight[i]! > 0)) continue;
      // Far from all its cells the weight decides, which never comes near to what a cell counts.
      const score = (nearness?.[i] ?? 0) + 1e-6 * Math.min(1, weight[i]!);
      if (score <= best[i]!) continue;
      best[i] = score;
      owner[i] = index;
    }
  }
  return owner;
}

/** Labels of cells of the plate; NOBODY where there are none. */
function labelsOf({ box, label }: Owners, cells: GridBox): Uint8Array {
  const labels = new Uint8Array(cells.width * cells.height).fill(NOBODY);
  for (let v = 0, i = 0; v < cells.height; v++) {
    const y = v + cells.y0 - box.y0;
    for (let u = 0; u < cells.width; u++, i++) {
      const x = u + cells.x0 - box.x0;
      if (x >= 0 && y >= 0 && x < box.width && y < box.height) labels[i] = label[y * box.width + x]!;
    }
  }
  return labels;
}

/** 1 where a label is the given one, else 0. */
function is(labels: Uint8Array, label: number): Float32Array {
  const out = new Float32Array(labels.length);
  for (let i = 0; i < out.length; i++) out[i] = labels[i] === label ? 1 : 0;
  return out;
}

/** 0 where a label is the given one, else 1. */
function isNot(labels: Uint8Array, label: number): Float32Array {
  const out = new Float32Array(labels.length);
  for (let i = 0; i < out.length; i++) out[i] = labels[i] === label ? 0 : 1;
  return out;
}

/** A part that has the window to itself: its own light, brought to the level of the joined plate. */
function alone(part: Part, strips: number, coarse: CoarsePlate, channel: number, window: GridBox): Plane {
  const light = part.planes[channel]!;
  if (strips === 1) return { ...window, data: light };
  const cells = cellsOf(window);
  const plate = cut(coarse.planes[channel]!, coarse.box, cells);
  const own = coarse.continued[part.index]!;
  const strip = cut(own.planes[channel]!, own.box, cells);
  for (let i = 0; i < plate.length; i++) plate[i]! -= strip[i]!;
  const change = fine(plate, cells, FINE_LEVELS);
  for (let i = 0; i < change.length; i++) change[i]! += light[i]!;
  return { ...window, data: change };
}

/** The three finest bands of several parts, each crossing over its own width, on the coarse plate. */
function joined(
  parts: readonly Part[],
  owner: Uint8Array,
  coarse: CoarsePlate,
  channel: number,
  window: GridBox,
): Plane {
  const cells = cellsOf(window);
  const tops: Plane[] = [];
  const sums: Plane[] = [];
  for (const part of parts) {
    if (!owner.includes(part.index)) continue;
    const own = coarse.continued[part.index]!;
    let image = continued(part, parts, coarse, channel, window);
    let mask = gaussianBlur({ ...window, data: is(owner, part.index) }, CROSSING_PX);
    for (let level = 0; level < FINE_LEVELS; level++) {
      const next = level < FINE_LEVELS - 1 ? reduce(image) : undefined;
      const low = next
        ? expand(next, image.width, image.height).data
        : fine(cut(own.planes[channel]!, own.box, cells), cells, 1);
      tops[level] ??= createPlane(image.width, image.height);
      sums[level] ??= createPlane(image.width, image.height);
      const top = tops[level]!.data;
      const sum = sums[level]!.data;
      for (let i = 0; i < top.length; i++) {
        top[i]! += mask.data[i]! * (image.data[i]! - low[i]!);
        sum[i]! += mask.data[i]!;
      }
      if (!next) break;
      image = next;
      mask = reduce(mask);
    }
  }
  let up = fine(cut(coarse.planes[channel]!, coarse.box, cells), cells, 1);
  for (let level = FINE_LEVELS - 1; level >= 0; level--) {
    const { width, height, data } = tops[level]!;
    const sum = sums[level]!.data;
    for (let i = 0; i < data.length; i++) data[i] = (sum[i]! > 0 ? data[i]! / sum[i]! : 0) + up[i]!;
    if (level > 0) up = expand({ width, height, data }, tops[level - 1]!.width, tops[level - 1]!.height).data;
  }
  return tops[0]!;
}

/**
 * A part's light, and beyond its coverage what the heaviest of the others shows, brought to its level; where none shows
 * anything, what the strip is continued by on the coarse grid.
 */
function continued(part: Part, parts: readonly Part[], coarse: CoarsePlate, channel: number, window: GridBox): Plane {
  const cells = cellsOf(window);
  const own = coarse.continued[part.index]!;
  const out = fine(cut(own.beyond[channel]!, own.box, cells), cells, FINE_LEVELS);
  const offset = fine(cut(own.offset[channel]!, own.box, cells), cells, FINE_LEVELS);
  const most = new Float32Array(out.length);
  for (const other of parts) {
    if (other === part) continue;
    const light = other.planes[channel]!;
    for (let i = 0; i < out.length; i++) {
      if (part.weight[i]! > 0 || !(other.weight[i]! > most[i]!)) continue;
      most[i] = other.weight[i]!;
      out[i] = light[i]! + offset[i]!;
    }
  }
  const light = part.planes[channel]!;
  for (let i = 0; i < out.length; i++) if (part.weight[i]! > 0) out[i] = light[i]!;
  return { ...window, data: out };
}

/** Cells of a window, and those around it that expanding needs. */
function cellsOf(window: GridBox): GridBox {
  return {
    x0: window.x0 / CELL_PX - RIM_CELLS,
    y0: window.y0 / CELL_PX - RIM_CELLS,
    width: window.width / CELL_PX + 2 * RIM_CELLS,
    height: window.height / CELL_PX + 2 * RIM_CELLS,
  };
}

/** Part of a plane on the coarse grid; beyond its box the nearest cell is repeated. */
function cut(plane: Float32Array, box: GridBox, cells: GridBox): Float32Array {
  const out = new Float32Array(cells.width * cells.height);
  for (let y = 0, i = 0; y < cells.height; y++) {
    const row = Math.min(box.height - 1, Math.max(0, y + cells.y0 - box.y0)) * box.width;
    for (let x = 0; x < cells.width; x++, i++) {
      out[i] = plane[row + Math.min(box.width - 1, Math.max(0, x + cells.x0 - box.x0))]!;
    }
  }
  return out;
}

/** Cells, so many levels finer, without the rim. */
function fine(data: Float32Array, cells: GridBox, levels: number): Float32Array {
  let plane: Plane = { width: cells.width, height: cells.height, data };
  for (let level = 0; level < levels; level++) plane = expand(plane, 2 * plane.width, 2 * plane.height);
  const rim = RIM_CELLS * 2 ** levels;
  return crop(plane, rim, rim, plane.width - 2 * rim, plane.height - 2 * rim);
}

/** The tile out of its window. */
function cropped(plane: Plane, tile: GridBox): Float32Array {
  return crop(plane, HALO_PX, HALO_PX, tile.width, tile.height);
}

function crop({ width, data }: Plane, left: number, top: number, columns: number, rows: number): Float32Array {
  const out = new Float32Array(columns * rows);
  for (let y = 0; y < rows; y++) {
    const from = (y + top) * width + left;
    out.set(data.subarray(from, from + columns), y * columns);
  }
  return out;
}

/** Nothing is shown where no strip is. */
function clear(out: Float32Array, owner: Uint8Array, stride: number, tile: GridBox): void {
  for (let y = 0, i = 0; y < tile.height; y++) {
    let from = (y + HALO_PX) * stride + HALO_PX;
    for (let x = 0; x < tile.width; x++, i++, from++) if (owner[from] === NOBODY) out[i] = 0;
  }
}
