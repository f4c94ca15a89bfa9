import type { PlateSource } from './plate-source.js';

/** Cells along a plate's longer side, at most: what a view can be short of is a cell or two. */
const MOST_CELLS = 1024;

/** Which cells of a plate are covered throughout. */
export interface CoveredCells {
  /** Plate px a side of a cell; those at the right and lower edge may be cut. */
  readonly cellPx: number;
  readonly columns: number;
  readonly rows: number;
  /** Number of cells with an uncovered pixel above and to the left of a corner, rows first, (columns + 1) x (rows + 1). */
  readonly gapsBefore: Uint32Array;
}

/** Looks at the coverage of a whole plate, band by band. */
export function coveredCells(source: PlateSource): CoveredCells {
  const { width, height } = source;
  const cellPx = Math.ceil(Math.max(width, height) / MOST_CELLS);
  const [columns, rows] = [Math.ceil(width / cellPx), Math.ceil(height / cellPx)];
  const gapsBefore = new Uint32Array((columns + 1) * (rows + 1));
  for (let row = 0; row < rows; row++) {
    const y0 = row * cellPx;
    const band = { x0: 0, y0, width, height: Math.min(cellPx, height - y0) };
    const { data } = source.read(band).coverage;
    const open = new Uint8Array(columns);
    for (let i = 0; i < data.length; i++) if (!(data[i]! > 0)) open[Math.floor((i % width) / cellPx)] = 1;
    let inRow = 0;
    for (let column = 0; column < columns; column++) {
      inRow += open[column]!;
      const above = gapsBefore[row * (columns + 1) + column + 1]!;
      gapsBefore[(row + 1) * (columns + 1) + column + 1] = above + inRow;
    }
  }
  return { cellPx, columns, rows, gapsBefore };
}

/**
 * Width of the widest view of a shape that lies wholly on covered ground, plate px, to a cell; the plate's own where all of it
 * is covered, 0 where nothing is.
 */
export function widestView(
  source: { readonly width: number; readonly height: number },
  cells: CoveredCells,
  heightOverWidth: number,
): number {
  const largest = Math.min(source.width, source.height / heightOverWidth);
  if (cells.gapsBefore.at(-1) === 0) return largest;
  const fits = (across: number): boolean => {
    const widthPx = across * cells.cellPx;
    return widthPx <= largest && hasPlace(cells, across, Math.ceil((widthPx * heightOverWidth) / cells.cellPx));
  };
  let [least, most] = [0, cells.columns + 1];
  while (most - least > 1) {
    const middle = (least + most) >> 1;
    if (fits(middle)) least = middle;
    else most = middle;
  }
  return least * cells.cellPx;
}

/** Whether so many cells by so many, all covered, lie anywhere. */
function hasPlace({ columns, rows, gapsBefore }: CoveredCells, across: number, down: number): boolean {
  const wide = columns + 1;
  for (let row = 0; row + down <= rows; row++) {
    for (let column = 0; column + across <= columns; column++) {
      const [top, bottom] = [row * wide + column, (row + down) * wide + column];
      const gaps = gapsBefore[bottom + across]! - gapsBefore[bottom]! - gapsBefore[top + across]! + gapsBefore[top]!;
      if (gaps === 0) return true;
    }
  }
  return false;
}
