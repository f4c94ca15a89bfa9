/** A rectangle of whole pixels of a grid: its first pixel and its size. */
export interface GridBox {
  readonly x0: number;
  readonly y0: number;
  readonly width: number;
  readonly height: number;
}

/** Whether two boxes share a pixel. */
export function boxesTouch(a: GridBox, b: GridBox): boolean {
  return a.x0 < b.x0 + b.width && b.x0 < a.x0 + a.width && a.y0 < b.y0 + b.height && b.y0 < a.y0 + a.height;
}

/** A box in squares of `sidePx`, cut off at its right and lower ends, row by row. */
export function tilesOf(box: GridBox, sidePx: number): GridBox[] {
  const tiles: GridBox[] = [];
  for (let y = 0; y < box.height; y += sidePx) {
    for (let x = 0; x < box.width; x += sidePx) {
      tiles.push({
        x0: box.x0 + x,
        y0: box.y0 + y,
        width: Math.min(sidePx, box.width - x),
        height: Math.min(sidePx, box.height - y),
      });
    }
  }
  return tiles;
}
