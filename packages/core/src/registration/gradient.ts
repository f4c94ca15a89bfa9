import type { Plane } from '../compute/image.js';

/** Horizontal and vertical derivative of a plane per pixel, same grid. */
export interface Gradient {
  readonly x: Float32Array;
  readonly y: Float32Array;
}

/** Central differences; one-sided halves at the border. */
export function gradientOf(plane: Plane): Gradient {
  const { width, height, data } = plane;
  const gx = new Float32Array(data.length);
  const gy = new Float32Array(data.length);
  for (let y = 0; y < height; y++) {
    const up = y > 0 ? -width : 0;
    const down = y < height - 1 ? width : 0;
    for (let x = 0; x < width; x++) {
      const i = y * width + x;
      gx[i] = (data[i + (x < width - 1 ? 1 : 0)]! - data[i - (x > 0 ? 1 : 0)]!) / 2;
      gy[i] = (data[i + down]! - data[i + up]!) / 2;
    }
  }
  return { x: gx, y: gy };
}
