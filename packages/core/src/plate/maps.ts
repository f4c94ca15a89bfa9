import { CELL_PX } from '../blend/coarse-strip.js';
import { applyX, applyY, invert } from '../compute/affine.js';
import { FEATHER_SHARE, featherWeight } from '../compute/feather.js';
import { createPlane, type Plane } from '../compute/image.js';
import { LANCZOS_RADIUS } from '../compute/lanczos.js';
import { bilinearAt } from '../compute/sample.js';
import type { MadePlate } from './make-plate.js';

/** What the plate is made of from place to place: a pixel of a map stands on every 8th plate px each way. */
export interface PlateMaps {
  /** Number of frames that show the place, of the strip that it was taken from. */
  readonly coverage: Plane;
  /** Sum of their weights. */
  readonly weight: Plane;
  /** Standard deviation of the luminance that is to be expected of the frames' noise, linear light; 0 where nothing is. */
  readonly noise: Plane;
}

/** Works the maps out from poses and weights; seams are taken as sharp. */
export function mapPlate({ placed, strips, blended, light }: MadePlate): PlateMaps {
  const width = Math.ceil(blended.widthPx / CELL_PX);
  const height = Math.ceil(blended.heightPx / CELL_PX);
  const maps = {
    coverage: createPlane(width, height),
    weight: createPlane(width, height),
    noise: createPlane(width, height),
  };
  const { box, label } = blended.owners;
  strips.forEach(({ poses, bends }, s) => {
    const { frames, graded } = placed[s]!.tracked;
    const { widthPx, heightPx } = graded.pass;
    const feather = FEATHER_SHARE * Math.min(widthPx, heightPx);
    const border = LANCZOS_RADIUS - 1;
    poses.forEach((pose, k) => {
      const back = invert(pose);
      const { gain } = light.corrections[s]![k]!;
      const variance = ((frames[k]!.grade.noise * graded.binFactor) / gain[gain.length >> 1]!) ** 2;
      const { knots, columns, rows, x0, y0, stepPx } = bends[k]!;
      const shares = knots.subarray(2 * columns * rows);
      for (let v = 0, i = 0; v < height; v++) {
        for (let u = 0; u < width; u++, i++) {
          if (label[(v - box.y0) * box.width + u - box.x0] !== s) continue;
          const [x, y] = [u * CELL_PX + blended.x0, v * CELL_PX + blended.y0];
          const [fx, fy] = [applyX(back, x, y), applyY(back, x, y)];
          const inside = Math.min(fx, fy, widthPx - 1 - fx, heightPx - 1 - fy) - border;
          const share = bilinearAt(shares, columns, rows, (x - x0) / stepPx, (y - y0) / stepPx);
          const weight = featherWeight(inside, feather) * share;
          if (!(weight > 0)) continue;
          maps.coverage.data[i]!++;
          maps.weight.data[i]! += weight;
          maps.noise.data[i]! += weight * weight * variance;
        }
      }
    });
  });
  for (let i = 0; i < width * height; i++) {
    const weight = maps.weight.data[i]!;
    maps.noise.data[i] = weight > 0 ? Math.sqrt(maps.noise.data[i]!) / weight : 0;
  }
  return maps;
}
