import { bilinearAt } from './sample.js';

/** A smooth small displacement of the plane, on knots from (x0, y0) on; between them along straight lines. All px. */
export interface BendGrid {
  readonly x0: number;
  readonly y0: number;
  readonly stepPx: number;
  readonly columns: number;
  readonly rows: number;
  /** Displacement at the knots. */
  readonly x: Float32Array;
  readonly y: Float32Array;
}

/** No displacement, on knots that span from (x0, y0) to (x1, y1) at least. */
export function createBendGrid(
  box: { readonly x0: number; readonly y0: number; readonly x1: number; readonly y1: number },
  stepPx: number,
): BendGrid {
  const columns = Math.ceil((box.x1 - box.x0) / stepPx) + 1;
  const rows = Math.ceil((box.y1 - box.y0) / stepPx) + 1;
  const zeros = (): Float32Array => new Float32Array(columns * rows);
  return { x0: box.x0, y0: box.y0, stepPx, columns, rows, x: zeros(), y: zeros() };
}

/** The displacement at a place; beyond the knots that of the nearest place within. */
export function bendAt({ x0, y0, stepPx, columns, rows, x, y }: BendGrid, atX: number, atY: number): [number, number] {
  const [u, v] = [(atX - x0) / stepPx, (atY - y0) / stepPx];
  return [bilinearAt(x, columns, rows, u, v), bilinearAt(y, columns, rows, u, v)];
}

/** Rms of the displacements of some grids, px per axis. */
export function bendRms(grids: readonly BendGrid[]): number {
  let sum = 0;
  let count = 0;
  for (const part of grids.flatMap((g) => [g.x, g.y])) {
    for (const v of part) sum += v * v;
    count += part.length;
  }
  return Math.sqrt(sum / Math.max(1, count));
}
