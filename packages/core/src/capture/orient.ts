/** A plane of stored samples and its size. */
export interface StoredPlane {
  readonly width: number;
  readonly height: number;
  readonly data: Float32Array;
}

/** Whether an orientation swaps width and height. */
export function swapsSides(orientation: number): boolean {
  return orientation >= 5 && orientation <= 8;
}

/**
 * Copies a plane from the order in which it is stored (space 1 without the mosaic) to upright (space 2) into `out`,
 * which has as many samples. `orientation` is the tag 274 of TIFF 6.0 and Exif: 1 is upright; 3, 6, 8 are turns.
 */
export function orientInto(out: Float32Array, plane: StoredPlane, orientation: number): void {
  const { width, height, data } = plane;
  const last = width * height - 1;
  const [start, stepX, stepY] = stepsOf(orientation, width, height, last);
  const outWidth = swapsSides(orientation) ? height : width;
  const outHeight = swapsSides(orientation) ? width : height;
  for (let y = 0, to = 0; y < outHeight; y++) {
    let from = start + y * stepY;
    for (let x = 0; x < outWidth; x++, from += stepX) out[to++] = data[from]!;
  }
}

/** Index of the stored sample that is shown top left, and the steps to its neighbours on the right and below. */
function stepsOf(orientation: number, width: number, height: number, last: number): [number, number, number] {
  switch (orientation) {
    case 2:
      return [width - 1, -1, width];
    case 3:
      return [last, -1, -width];
    case 4:
      return [(height - 1) * width, 1, -width];
    case 5:
      return [0, width, 1];
    case 6:
      return [(height - 1) * width, -width, 1];
    case 7:
      return [last, -width, -1];
    case 8:
      return [width - 1, width, -1];
    default:
      return [0, 1, width];
  }
}
