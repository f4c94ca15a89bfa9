import { boxesTouch, type GridBox } from '../compute/grid-box.js';
import { createPlane, type Plane } from '../compute/image.js';
import type { CoarseStrip } from './coarse-strip.js';
import { fillUncovered } from './pyramid.js';

/** A strip on the coarse grid that goes on beyond its coverage. */
export interface ContinuedStrip {
  /** Cells that it is told for. */
  readonly box: GridBox;
  /** Light, by channel: its own where it covers the cell, what it is continued by elsewhere. */
  readonly planes: readonly Float32Array[];
  /** What it is continued by, by channel, under its own cells, too. */
  readonly beyond: readonly Float32Array[];
  /** What the light of the others is changed by to continue it, by channel. */
  readonly offset: readonly Float32Array[];
}

/** From this share of a cell on its light counts as known. */
const KNOWN = 0.02;
/** From this share on the cell is whole, and fit to be compared with another. */
export const WHOLE = 0.999;

/**
 * Continues a strip beyond its coverage, so that a pyramid over it knows no edge: by what the others show there, so that a
 * limb or terminator that crosses the seam is a limb in every band, plus a smooth continuation of the difference between
 * them where they overlap, so that no step lies along the end of the coverage. Beyond all strips it goes on smoothly.
 *
 * @param k index of the strip
 * @param box cells to tell
 */
export function continueStrip(strips: readonly CoarseStrip[], k: number, box: GridBox): ContinuedStrip {
  const own = strips[k]!;
  const size = box.width * box.height;
  const other = heaviestOther(strips, k, box);
  const planes: Float32Array[] = [];
  const beyond: Float32Array[] = [];
  const offsets: Float32Array[] = [];
  for (let c = 0; c < own.planes.length; c++) {
    const difference = createPlane(box.width, box.height);
    const shared = createPlane(box.width, box.height);
    forEachCell(box, (i, x, y) => {
      const j = other[i]!;
      if (j < 0 || !(at(own, own.cover, x, y) >= WHOLE) || !(at(strips[j]!, strips[j]!.cover, x, y) >= WHOLE)) return;
      difference.data[i] = at(own, own.planes[c]!, x, y) - at(strips[j]!, strips[j]!.planes[c]!, x, y);
      shared.data[i] = 1;
    });
    const offset = fillUncovered(difference, shared);
    const around = createPlane(box.width, box.height);
    const known = createPlane(box.width, box.height);
    forEachCell(box, (i, x, y) => {
      const j = other[i]!;
      if (j >= 0) around.data[i] = at(strips[j]!, strips[j]!.planes[c]!, x, y) + offset.data[i]!;
      else if (at(own, own.cover, x, y) >= KNOWN) around.data[i] = at(own, own.planes[c]!, x, y);
      else return;
      known.data[i] = 1;
    });
    const filled: Plane = fillUncovered(around, known);
    const whole = new Float32Array(size);
    forEachCell(box, (i, x, y) => {
      const share = at(own, own.cover, x, y);
      whole[i] = share * at(own, own.planes[c]!, x, y) + (1 - share) * filled.data[i]!;
    });
    planes.push(whole);
    beyond.push(filled.data);
    offsets.push(offset.data);
  }
  return { box, planes, beyond, offset: offsets };
}

/** For each cell of the box the strip other than k with the most weight that knows it; -1 where there is none. */
function heaviestOther(strips: readonly CoarseStrip[], k: number, box: GridBox): Int16Array {
  const other = new Int16Array(box.width * box.height).fill(-1);
  const most = new Float32Array(other.length);
  strips.forEach((strip, j) => {
    if (j === k || !boxesTouch(strip.box, box)) return;
    forEachCell(box, (i, x, y) => {
      if (!(at(strip, strip.cover, x, y) >= KNOWN)) return;
      const weight = at(strip, strip.weight, x, y);
      if (weight <= most[i]!) return;
      most[i] = weight;
      other[i] = j;
    });
  });
  return other;
}

/** A strip's value at a cell of the plate; 0 beyond its box. */
function at({ box }: CoarseStrip, plane: Float32Array, x: number, y: number): number {
  const [u, v] = [x - box.x0, y - box.y0];
  return u >= 0 && v >= 0 && u < box.width && v < box.height ? plane[v * box.width + u]! : 0;
}

function forEachCell(box: GridBox, visit: (index: number, x: number, y: number) => void): void {
  for (let y = 0, i = 0; y < box.height; y++) {
    for (let x = 0; x < box.width; x++, i++) visit(i, x + box.x0, y + box.y0);
  }
}
