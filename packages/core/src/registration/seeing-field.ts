import { type Affine, applyX, applyY, invert, mappedBounds } from '../compute/affine.js';
import type { BendGrid } from '../compute/bend-spread.js';
import { createFloats } from '../compute/image.js';
import type { Bend } from '../compute/kernels-accumulate.js';
import { bilinearAt } from '../compute/sample.js';

/**
 * How the air has bent one frame: ground that the frame shows at x lies at pose(x + bend(x)). On knots from frame px
 * (0, 0) on, at proxy scale, as are its lengths; between them along straight lines.
 */
export interface SeeingField {
  readonly stepPx: number;
  readonly columns: number;
  readonly rows: number;
  /** Bend at the knots, px. */
  readonly x: Float32Array;
  readonly y: Float32Array;
}

/** A field of zeros that spans a frame. */
export function createField(widthPx: number, heightPx: number, stepPx: number): SeeingField {
  const columns = Math.ceil((widthPx - 1) / stepPx) + 1;
  const rows = Math.ceil((heightPx - 1) / stepPx) + 1;
  return { stepPx, columns, rows, x: new Float32Array(columns * rows), y: new Float32Array(columns * rows) };
}

function gridAt(grid: BendGrid, x: number, y: number): [number, number] {
  const { x0, y0, stepPx, columns, rows } = grid;
  const [u, v] = [(x - x0) / stepPx, (y - y0) / stepPx];
  return [bilinearAt(grid.x, columns, rows, u, v), bilinearAt(grid.y, columns, rows, u, v)];
}

/** The bend at a place of the frame; beyond the knots that of the nearest place. */
export function bendAt(field: SeeingField, x: number, y: number): [number, number] {
  return gridAt({ x0: 0, y0: 0, ...field }, x, y);
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

/** Knots of a {@link Bend}, plate px. */
const BEND_STEP_PX = 16;

/**
 * The field as the resampling wants it, on the knots of the grid that the frame is stacked on, in shared memory.
 *
 * @param pose frame px -> strip or plate px, at the scale of the frames, which are `binFactor` times finer than the field's
 * @param join what the whole pass is bent by besides, in the space of the grid at the field's scale
 * @param share what the frame counts at a place of the proxy, a factor of its weight
 */
export function bendOnPlate(
  field: SeeingField,
  pose: Affine,
  widthPx: number,
  heightPx: number,
  binFactor: number,
  join?: BendGrid,
  share: (x: number, y: number) => number = () => 1,
): Bend {
  const reach = mappedBounds(pose, widthPx, heightPx);
  const margin = BEND_STEP_PX;
  const x0 = Math.floor(reach.x0) - margin;
  const y0 = Math.floor(reach.y0) - margin;
  const columns = Math.ceil((reach.x1 + margin - x0) / BEND_STEP_PX) + 1;
  const rows = Math.ceil((reach.y1 + margin - y0) / BEND_STEP_PX) + 1;
  const size = columns * rows;
  const knots = createFloats(3 * size, true);
  const back = invert(pose);
  const offset = (binFactor - 1) / 2;
  for (let r = 0; r < rows; r++) {
    for (let c = 0; c < columns; c++) {
      const px = x0 + c * BEND_STEP_PX;
      const py = y0 + r * BEND_STEP_PX;
      const [jx, jy] = join ? gridAt(join, (px - offset) / binFactor, (py - offset) / binFactor) : [0, 0];
      const x = applyX(back, px, py);
      const y = applyY(back, px, py);
      const [qx, qy] = [px - binFactor * jx, py - binFactor * jy];
      const [u, v] = seenAt(
        field,
        (applyX(back, qx, qy) - offset) / binFactor,
        (applyY(back, qx, qy) - offset) / binFactor,
      );
      const i = r * columns + c;
      knots[i] = u * binFactor + offset - x;
      knots[size + i] = v * binFactor + offset - y;
      knots[2 * size + i] = share(u, v);
    }
  }
  return { x0, y0, stepPx: BEND_STEP_PX, columns, rows, knots };
}
