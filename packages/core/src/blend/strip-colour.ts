import type { GridBox } from '../compute/grid-box.js';
import { BLOCK_PX, type BlockGrid } from '../quality/blocks.js';
import type { ColourShift } from '../registration/colour-shift.js';
import type { TrackedFrame } from '../registration/track-stage.js';

/** The frame that tells how far the colours are apart: the sharpest of those that show much of the body. */
export function frameForColour(frames: readonly TrackedFrame[]): number {
  const most = Math.max(...frames.map((f) => f.grade.litShare));
  let best = 0;
  frames.forEach(({ sharpness, grade }, k) => {
    if (grade.litShare < MUCH_OF_IT * most) return;
    if (frames[best]!.grade.litShare < MUCH_OF_IT * most || sharpness > frames[best]!.sharpness) best = k;
  });
  return best;
}

const MUCH_OF_IT = 0.7;

/** Sides of the window in which colours are compared, px. */
const COLOUR_WINDOW_PX = 768;

/** The part of a frame with the most contrast, on whole blocks. */
export function partWithDetail(blocks: BlockGrid, widthPx: number, heightPx: number, binFactor: number): GridBox {
  const side = BLOCK_PX * binFactor;
  const width = Math.min(widthPx, COLOUR_WINDOW_PX);
  const height = Math.min(heightPx, COLOUR_WINDOW_PX);
  const [across, down] = [Math.ceil(width / side), Math.ceil(height / side)];
  let best = { x0: 0, y0: 0, detail: -1 };
  for (let r = 0; r === 0 || r + down <= blocks.rows; r++) {
    for (let c = 0; c === 0 || c + across <= blocks.columns; c++) {
      let detail = 0;
      for (let y = r; y < Math.min(blocks.rows, r + down); y++) {
        for (let x = c; x < Math.min(blocks.columns, c + across); x++) detail += blocks.spread[y * blocks.columns + x]!;
      }
      if (detail > best.detail)
        best = { x0: Math.min(c * side, widthPx - width), y0: Math.min(r * side, heightPx - height), detail };
    }
  }
  return { x0: best.x0, y0: best.y0, width, height };
}

/** Shifts smaller than this, px, or than a few of their errors are not worth a sampling of their own. */
const LEAST_SHIFT_PX = 0.03;
const LEAST_SIGNIFICANCE = 4;

/** What each channel is read at, frame px; undefined where the colours lie on each other, or cannot be told apart. */
export function offsetsOf({ red, blue, sigmaPx }: ColourShift): readonly (readonly [number, number])[] | undefined {
  const apart = Math.max(Math.hypot(...red), Math.hypot(...blue));
  return apart < Math.max(LEAST_SHIFT_PX, LEAST_SIGNIFICANCE * sigmaPx) ? undefined : [red, [0, 0], blue];
}
