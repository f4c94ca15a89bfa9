import { type Affine, applyX, applyY, invert, mappedBounds } from '../compute/affine.js';
import { type BendGrid, bendAt, createBendGrid } from '../compute/bend-grid.js';
import { createFloats } from '../compute/image.js';
import type { Bend } from '../compute/kernels-accumulate.js';

/**
 * How the air has bent one frame: ground that the frame shows at x lies at pose(x + bend(x)). On knots from frame px
 * (0, 0) on, at proxy scale, as are its lengths.
 */
export type SeeingField = BendGrid;

/** A field of zeros that spans a frame. */
export function createField(widthPx: number, heightPx: number, stepPx: number): SeeingField {
  return createBendGrid({ x0: 0, y0: 0, x1: widthPx - 1, y1: heightPx - 1 }, stepPx);
}

/** Where the frame shows what lies at frame px (x, y) by its pose alone. */
export function seenAt(field: SeeingField, x: number, y: number): [number, number] {
  let [u, v] = [x, y];
  for (let round = 0; round < ROUNDS; round++) {
    const [bx, by] = bendAt(field, u, v);
    u = x - bx;
    v = y - by;
  }
  return [u, v];
}

/** Bends change by a hundredth of themselves over their own length. */
const ROUNDS = 3;

/** Distance of the knots of a {@link Bend} at the field's scale, px. */
export const BEND_STEP_PX = 16;

/**
 * The field as the resampling wants it, on the knots of the grid that the frame is stacked on, in shared memory.
 *
 * @param pose frame px -> strip or plate px, at the scale of the frames, which are `binFactor` times finer than the field's
 * @param joinAt what the whole pass is bent by besides, by place on the grid; both at the field's scale
 * @param weightAt what the frame's weight is multiplied with, by place on the grid at the field's scale
 */
export function bendOnPlate(
  field: SeeingField,
  pose: Affine,
  widthPx: number,
  heightPx: number,
  binFactor: number,
  joinAt?: (x: number, y: number) => readonly [number, number],
  weightAt?: (x: number, y: number) => number,
): Bend {
  const reach = mappedBounds(pose, widthPx, heightPx);
  const stepPx = BEND_STEP_PX * binFactor;
  const x0 = Math.floor(reach.x0) - stepPx;
  const y0 = Math.floor(reach.y0) - stepPx;
  const columns = Math.ceil((reach.x1 + stepPx - x0) / stepPx) + 1;
  const rows = Math.ceil((reach.y1 + stepPx - y0) / stepPx) + 1;
  const size = columns * rows;
  const knots = createFloats((weightAt ? 3 : 2) * size, true);
  const back = invert(pose);
  const offset = (binFactor - 1) / 2;
  const onProxy = (v: number): number => (v - offset) / binFactor;
  for (let i = 0; i < size; i++) {
    const px = x0 + (i % columns) * stepPx;
    const py = y0 + Math.floor(i / columns) * stepPx;
    const [jx, jy] = joinAt ? joinAt(onProxy(px), onProxy(py)) : [0, 0];
    const [qx, qy] = [px - binFactor * jx, py - binFactor * jy];
    const [u, v] = seenAt(field, onProxy(applyX(back, qx, qy)), onProxy(applyY(back, qx, qy)));
    knots[i] = u * binFactor + offset - applyX(back, px, py);
    knots[size + i] = v * binFactor + offset - applyY(back, px, py);
    if (weightAt) knots[2 * size + i] = weightAt(onProxy(px), onProxy(py));
  }
  return { x0, y0, stepPx, columns, rows, knots };
}
