import { type Affine, applyX, applyY, invert, mappedBounds } from '../compute/affine.js';
import { type BendGrid, bendAt, createBendGrid } from '../compute/bend-grid.js';
import { FEATHER_SHARE, featherWeight } from '../compute/feather.js';
import { type SeeingField, seenAt } from './seeing-field.js';

/** A frame of a pass, its pose (frame px -> strip px) and its bend. */
export interface BentFrame {
  readonly pose: Affine;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly field: SeeingField;
}

/**
 * Takes from the fields what they have in common on the ground, in place: the mean of a place over all frames that show
 * it, each counted as it is in the strip, is where that place truly is, as far as the pass can tell.
 */
export function removeMean(frames: readonly BentFrame[]): void {
  const mean = meanOnGround(frames);
  for (const { pose, field } of frames) {
    const back = invert(pose);
    for (let k = 0; k < field.x.length; k++) {
      const x = (k % field.columns) * field.stepPx + field.x[k]!;
      const y = Math.floor(k / field.columns) * field.stepPx + field.y[k]!;
      const [mx, my] = bendAt(mean, applyX(pose, x, y), applyY(pose, x, y));
      field.x[k]! -= back.xx * mx + back.xy * my;
      field.y[k]! -= back.yx * mx + back.yy * my;
    }
  }
}

/** Every frame counts a little everywhere, so that the mean goes on smoothly to the last frame's edge. */
const LEAST_SHARE = 1e-3;

function meanOnGround(frames: readonly BentFrame[]): BendGrid {
  const { stepPx } = frames[0]!.field;
  const bounds = frames.map((f) => mappedBounds(f.pose, f.widthPx, f.heightPx));
  const box = {
    x0: Math.min(...bounds.map((b) => b.x0)),
    y0: Math.min(...bounds.map((b) => b.y0)),
    x1: Math.max(...bounds.map((b) => b.x1)),
    y1: Math.max(...bounds.map((b) => b.y1)),
  };
  const mean = createBendGrid(box, stepPx);
  const total = new Float32Array(mean.x.length);
  for (const { pose, widthPx, heightPx, field } of frames) {
    const back = invert(pose);
    const feather = FEATHER_SHARE * Math.min(widthPx, heightPx);
    for (let i = 0; i < total.length; i++) {
      const px = box.x0 + (i % mean.columns) * stepPx;
      const py = box.y0 + Math.floor(i / mean.columns) * stepPx;
      const [x, y] = seenAt(field, applyX(back, px, py), applyY(back, px, py));
      const inside = Math.min(x, y, widthPx - 1 - x, heightPx - 1 - y);
      if (inside < -stepPx) continue;
      const w = LEAST_SHARE + featherWeight(inside, feather);
      const [bx, by] = bendAt(field, x, y);
      mean.x[i]! += w * (pose.xx * bx + pose.xy * by);
      mean.y[i]! += w * (pose.yx * bx + pose.yy * by);
      total[i]! += w;
    }
  }
  for (let i = 0; i < total.length; i++) {
    if (total[i] === 0) continue;
    mean.x[i]! /= total[i]!;
    mean.y[i]! /= total[i]!;
  }
  return mean;
}
