import { type Affine, applyX, applyY, invert } from './affine.js';
import { createPlane, type Plane } from './image.js';
import { cubicAt } from './sample.js';

/**
 * Resamples a plane through a pose (source px -> target px) onto a target grid by cubic convolution. Also returns the
 * coverage: 1 where the target pixel's centre falls between the source's outermost pixel centres, 0 elsewhere; the
 * plane is 0 there.
 */
export function warpPlane(
  source: Plane,
  pose: Affine,
  width: number,
  height: number,
): { plane: Plane; coverage: Plane } {
  const plane = createPlane(width, height);
  const coverage = createPlane(width, height);
  const back = invert(pose);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const sx = applyX(back, x, y);
      const sy = applyY(back, x, y);
      if (sx < 0 || sy < 0 || sx > source.width - 1 || sy > source.height - 1) continue;
      const i = y * width + x;
      plane.data[i] = cubicAt(source.data, source.width, source.height, sx, sy);
      coverage.data[i] = 1;
    }
  }
  return { plane, coverage };
}
