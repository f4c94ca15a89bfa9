import { type Affine, applyX, applyY, invert, mappedBounds } from '../compute/affine.js';
import { bilinearAt } from '../compute/sample.js';
import { bendAt, type SeeingField, seenAt } from './seeing-field.js';

/** A frame of a pass, its pose (frame px -> strip px) and its bend. */
export interface BentFrame {
  readonly pose: Affine;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly field: SeeingField;
}

/** A frame counts in the mean from its edge on, rising over this share of its shorter side, as it does in the strip. */
const FEATHER_SHARE = 0.15;

/**
 * Takes from the fields what they have in common on the ground, in place: the mean of a place over all frames that show
 * it is where that place truly is, as far as the pass can tell.
 */
export function removeMean(frames: readonly BentFrame[]): void {
  const stepPx = frames[0]!.field.stepPx;
  const bounds = frames.map((f) => mappedBounds(f.pose, f.widthPx, f.heightPx));
  const x0 = Math.min(...bounds.map((b) => b.x0));
  const y0 = Math.min(...bounds.map((b) => b.y0));
  const columns = Math.ceil((Math.max(...bounds.map((b) => b.x1)) - x0) / stepPx) + 1;
  const rows = Math.ceil((Math.max(...bounds.map((b) => b.y1)) - y0) / stepPx) + 1;
  const sumX = new Float32Array(columns * rows);
  const sumY = new Float32Array(columns * rows);
  const total = new Float32Array(columns * rows);
  for (const { pose, widthPx, heightPx, field } of frames) {
    const back = invert(pose);
    const feather = FEATHER_SHARE * Math.min(widthPx, heightPx);
    for (let r = 0; r < rows; r++) {
      for (let c = 0; c < columns; c++) {
        const px = x0 + c * stepPx;
        const py = y0 + r * stepPx;
        const [x, y] = seenAt(field, applyX(back, px, py), applyY(back, px, py));
        const inside = Math.min(x, y, widthPx - 1 - x, heightPx - 1 - y);
        // Everywhere a little, so that the mean goes on smoothly beyond the last frame's edge.
        const w = LEAST_SHARE + Math.min(1, Math.max(0, inside / feather)) ** 2;
        if (inside < -stepPx) continue;
        const [bx, by] = bendAt(field, x, y);
        const i = r * columns + c;
        sumX[i]! += w * (pose.xx * bx + pose.xy * by);
        sumY[i]! += w * (pose.yx * bx + pose.yy * by);
        total[i]! += w;
      }
    }
  }
  for (let i = 0; i < total.length; i++) {
    if (total[i] === 0) continue;
    sumX[i]! /= total[i]!;
    sumY[i]! /= total[i]!;
  }
  for (const { pose, field } of frames) {
    const back = invert(pose);
    for (let r = 0; r < field.rows; r++) {
      for (let c = 0; c < field.columns; c++) {
        const k = r * field.columns + c;
        const x = c * stepPx + field.x[k]!;
        const y = r * stepPx + field.y[k]!;
        const u = Math.min(columns - 1, Math.max(0, (applyX(pose, x, y) - x0) / stepPx));
        const v = Math.min(rows - 1, Math.max(0, (applyY(pose, x, y) - y0) / stepPx));
        const mx = bilinearAt(sumX, columns, rows, u, v);
        const my = bilinearAt(sumY, columns, rows, u, v);
        field.x[k]! -= back.xx * mx + back.xy * my;
        field.y[k]! -= back.yx * mx + back.yy * my;
      }
    }
  }
}

const LEAST_SHARE = 1e-3;
