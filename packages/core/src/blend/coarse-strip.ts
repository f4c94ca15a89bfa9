import type { GridBox } from '../compute/grid-box.js';
import { createFloats, type Plane } from '../compute/image.js';
import { defineTask, type Task } from '../compute/task.js';
import { readStrip, type StripFile } from '../strip/strip-store.js';
import { reduce } from './pyramid.js';

/** Levels of the pyramid from the plate to its coarse grid. */
export const FINE_LEVELS = 3;
/** Plate px between the cells of the coarse grid; cell (i, j) stands on plate px (8 i, 8 j). */
export const CELL_PX: number = 2 ** FINE_LEVELS;

/** A strip on the coarse grid of the plate, in shared memory. */
export interface CoarseStrip {
  /** Cells that the strip reaches. */
  readonly box: GridBox;
  /** Light of what is covered, by channel; 0 where nothing is. */
  readonly planes: readonly Float32Array[];
  /** Share of the cell that is covered, 0..1. */
  readonly cover: Float32Array;
  /** Mean weight of the cell, uncovered parts counting as 0. */
  readonly weight: Float32Array;
}

/** Input of {@link coarseTask}: some cells of a strip, to be filled. The strip's box counts in plate px. */
export interface CoarseInput {
  readonly strip: StripFile;
  readonly coarse: CoarseStrip;
  readonly cells: GridBox;
}

/** Reduces a part of a strip to the coarse grid, in a worker. */
export const coarseTask: Task<CoarseInput, null> = defineTask('blend/coarse');

/** Cells that a strip reaches, with the low pass's own reach. */
export function cellsOf({ x0, y0, width, height }: GridBox): GridBox {
  const left = Math.floor((x0 - REACH_PX) / CELL_PX);
  const top = Math.floor((y0 - REACH_PX) / CELL_PX);
  return {
    x0: left,
    y0: top,
    width: Math.floor((x0 + width - 1 + REACH_PX) / CELL_PX) - left + 1,
    height: Math.floor((y0 + height - 1 + REACH_PX) / CELL_PX) - top + 1,
  };
}

/** An empty {@link CoarseStrip}. */
export function createCoarse(box: GridBox, channels: number): CoarseStrip {
  const floats = (): Float32Array => createFloats(box.width * box.height, true);
  return { box, planes: Array.from({ length: channels }, floats), cover: floats(), weight: floats() };
}

/** A pixel takes part in cells up to 2 + 4 + 8 px away; in whole cells. */
const REACH_PX: number = 2 * CELL_PX;

export function runCoarse({ strip, coarse, cells }: CoarseInput): null {
  const window = {
    x0: cells.x0 * CELL_PX - REACH_PX,
    y0: cells.y0 * CELL_PX - REACH_PX,
    width: (cells.width - 1) * CELL_PX + 2 * REACH_PX,
    height: (cells.height - 1) * CELL_PX + 2 * REACH_PX,
  };
  const { planes, weight } = readStrip(strip, window);
  const small = (data: Float32Array): Plane => {
    let plane: Plane = { width: window.width, height: window.height, data };
    for (let level = 0; level < FINE_LEVELS; level++) plane = reduce(plane);
    return plane;
  };
  const covered = new Float32Array(weight.length);
  for (let i = 0; i < covered.length; i++) covered[i] = weight[i]! > 0 ? 1 : 0;
  const cover = small(covered);
  const heavy = small(weight);
  const lights = planes.map(small);
  const { box } = coarse;
  for (let y = 0; y < cells.height; y++) {
    for (let x = 0; x < cells.width; x++) {
      const from = (y + REACH_PX / CELL_PX) * cover.width + x + REACH_PX / CELL_PX;
      const to = (y + cells.y0 - box.y0) * box.width + x + cells.x0 - box.x0;
      // So little of a cell does not tell its light.
      const share = cover.data[from]! > LEAST_COVER ? cover.data[from]! : 0;
      coarse.cover[to] = share;
      coarse.weight[to] = heavy.data[from]!;
      for (let c = 0; c < lights.length; c++) {
        coarse.planes[c]![to] = share > 0 ? lights[c]!.data[from]! / share : 0;
      }
    }
  }
  return null;
}

const LEAST_COVER = 1e-3;
