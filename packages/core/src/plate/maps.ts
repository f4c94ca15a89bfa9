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

/** A frame that shows a place of the plate, in the strip that the place was taken from. */
export interface Share {
  /** Index of the place, row by row. */
  readonly place: number;
  /** Plate px in the space of the poses (space 4, not yet shifted to the plate's first pixel). */
  readonly x: number;
  readonly y: number;
  /** Indices of the placed pass and of its frame. */
  readonly pass: number;
  readonly frame: number;
  /** What the frame's light counts with. */
  readonly weight: number;
}

/** Works the maps out from poses and weights; seams are taken as sharp. */
export function mapPlate(made: MadePlate): PlateMaps {
  const { placed, blended, light } = made;
  const width = Math.ceil(blended.widthPx / CELL_PX);
  const height = Math.ceil(blended.heightPx / CELL_PX);
  const maps = {
    coverage: createPlane(width, height),
    weight: createPlane(width, height),
    noise: createPlane(width, height),
  };
  const variances = placed.map(({ tracked: { frames, graded } }, s) =>
    frames.map(({ grade }, k) => {
      const { gain } = light.corrections[s]![k]!;
      return ((grade.noise * graded.binFactor) / gain[gain.length >> 1]!) ** 2;
    }),
  );
  visitShares(made, CELL_PX, ({ place, pass, frame, weight }) => {
    maps.coverage.data[place]!++;
    maps.weight.data[place]! += weight;
    maps.noise.data[place]! += weight * weight * variances[pass]![frame]!;
  });
  for (let i = 0; i < width * height; i++) {
    const weight = maps.weight.data[i]!;
    maps.noise.data[i] = weight > 0 ? Math.sqrt(maps.noise.data[i]!) / weight : 0;
  }
  return maps;
}

/** Visits every frame that shows a place, for places `stepPx` plate px apart each way: whole cells of {@link CELL_PX}. */
export function visitShares(
  { placed, strips, blended }: MadePlate,
  stepPx: number,
  visit: (share: Share) => void,
): void {
  const width = Math.ceil(blended.widthPx / stepPx);
  const height = Math.ceil(blended.heightPx / stepPx);
  const { box, label } = blended.owners;
  const cells = stepPx / CELL_PX;
  strips.forEach(({ poses, bends }, s) => {
    const { widthPx, heightPx } = placed[s]!.tracked.graded.pass;
    const feather = FEATHER_SHARE * Math.min(widthPx, heightPx);
    const border = LANCZOS_RADIUS - 1;
    poses.forEach((pose, k) => {
      const back = invert(pose);
      const { knots, columns, rows, x0, y0, stepPx: knotStepPx } = bends[k]!;
      const shares = knots.subarray(2 * columns * rows);
      for (let v = 0, i = 0; v < height; v++) {
        for (let u = 0; u < width; u++, i++) {
          if (label[(v * cells - box.y0) * box.width + u * cells - box.x0] !== s) continue;
          const [x, y] = [u * stepPx + blended.x0, v * stepPx + blended.y0];
          const [fx, fy] = [applyX(back, x, y), applyY(back, x, y)];
          const inside = Math.min(fx, fy, widthPx - 1 - fx, heightPx - 1 - fy) - border;
          const share = bilinearAt(shares, columns, rows, (x - x0) / knotStepPx, (y - y0) / knotStepPx);
          const weight = featherWeight(inside, feather) * share;
          if (weight > 0) visit({ place: i, x, y, pass: s, frame: k, weight });
        }
      }
    });
  });
}
