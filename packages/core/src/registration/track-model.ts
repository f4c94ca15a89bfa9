import { type Affine, compose, invert, mappedBounds, translation } from '../compute/affine.js';
import type { BendGrid } from '../compute/bend-grid.js';
import type { FloatPool } from '../compute/float-pool.js';
import type { HeldFloats, KernelScope } from '../compute/kernels.js';
import { accumulateWithKernels, type Bend, type FrameToAdd } from '../compute/kernels-accumulate.js';
import type { PatchPictures } from '../compute/kernels-patch-sums.js';
import { putTaps } from '../compute/kernels-taps.js';
import { LAGRANGE_PHASES, LAGRANGE_WEIGHTS } from '../compute/lagrange.js';
import { LANCZOS_RADIUS } from '../compute/lanczos.js';
import { type PlaneSource, putPlane } from '../compute/plane-source.js';
import { bilinearAt } from '../compute/sample.js';
import type { UsableBox } from './patches.js';

/** A frame's detail on the strip. */
export interface ModelFrame {
  readonly detail: PlaneSource;
  /** Frame px -> strip px. */
  readonly pose: Affine;
  readonly weight: number;
  /** How the air has bent it, on the strip. Default: not at all. */
  readonly bend?: Bend;
}

/** The running model of a pass: weighted sums of its frames' detail on whole pixels of the strip, from (x0, y0). */
export type ModelSums = FrameToAdd['sums'];

/** Empty sums, in arrays of the pool, that hold every frame. */
export function createModel(frames: readonly ModelFrame[], floats: FloatPool): ModelSums {
  const bounds = frames.map(({ pose, detail }) => mappedBounds(pose, detail.width, detail.height));
  const x0 = Math.floor(Math.min(...bounds.map((b) => b.x0)));
  const y0 = Math.floor(Math.min(...bounds.map((b) => b.y0)));
  const width = Math.ceil(Math.max(...bounds.map((b) => b.x1))) - x0 + 1;
  const height = Math.ceil(Math.max(...bounds.map((b) => b.y1))) - y0 + 1;
  const empty = (): Float32Array => floats.take(width * height).fill(0);
  return { x0, y0, width, height, planes: [empty()], weight: empty() };
}

/** Adds the frames, in their order, to rows from..to−1 of the sums, counted from the first. */
export function stackRows(model: ModelSums, frames: readonly ModelFrame[], from: number, to: number): void {
  for (const frame of frames) addFrame(model, frame, from, to);
}

/** What all frames but one give, as that one would show it, in the memory of the kernels. */
export interface OthersInFrame extends PatchPictures {
  /** Share of the others in the whole model, 0..1; 0 where they say nothing. */
  readonly share: HeldFloats;
}

/**
 * The mean of the others on a frame's own grid: what the frame itself added is taken out again, so that it is not compared
 * with itself (which would draw every frame towards where it already lies). The model is resampled by weights that move
 * nothing. Undefined for a frame that lies off the model. Good until the scope ends.
 *
 * @param field the bend that the frame was stacked with. Default: none
 */
export function othersInFrame(
  scope: KernelScope,
  model: ModelSums,
  { detail, pose, weight }: ModelFrame,
  field?: BendGrid,
): OthersInFrame | undefined {
  const { width, height } = detail;
  const bend = field && bendIn(pose, field);
  const under = holdUnder(scope, model, mappedBounds(pose, width, height), bend?.most ?? 0);
  if (!under) return undefined;
  const moving = putPlane(scope, detail);
  const size = width * height;
  const planeBytes = 4 * size;
  const { address } = scope.hold(3 * size);
  const [sums, share, cover] = [0, 1, 2].map((k) => ({ address: address + k * planeBytes, length: size }));
  scope.floats(address, 3 * size).fill(0);
  const { xx, xy, yx, yy, tx, ty } = compose(translation(-under.x0, -under.y0), pose);
  const taps = putTaps(scope, LAGRANGE);
  const scratch = scope.reserve(4 * 4 * (width + 32));
  const knots = bend ? scope.put(bend.knots).address : 0;
  scope.exports.accumulate(
    ...([under.address, 4 * under.width * under.height, 2, under.width, under.height] as const),
    ...([0, 0, 4 * under.width] as const),
    ...([xx, xy, yx, yy, tx, ty, address, planeBytes, 0, 0, width, height] as const),
    ...([1, LANCZOS_RADIUS - 1, Number.MIN_VALUE, taps, LAGRANGE_PHASES, scratch] as const),
    ...([knots, field?.columns ?? 0, field?.rows ?? 0, 0, 0, field?.stepPx ?? 1, false, 0] as const),
  );
  const border = borderPx(width, height);
  scope.exports.takeOut(
    ...([address, share!.address, cover!.address, moving.address, width, height] as const),
    ...([weight, border, border + 1, LEAST_OTHERS] as const),
  );
  return { width, height, fixed: sums!, cover: cover!, moving, share: share! };
}

/** A field of a frame as a displacement of strip px on the frame's grid, and how far it moves anything. */
function bendIn(
  { xx, xy, yx, yy }: Affine,
  { x, y }: BendGrid,
): { readonly knots: Float32Array; readonly most: number } {
  const size = x.length;
  const knots = new Float32Array(2 * size);
  let most = 0;
  for (let k = 0; k < size; k++) {
    knots[k] = xx * x[k]! + xy * y[k]!;
    knots[size + k] = yx * x[k]! + yy * y[k]!;
    most = Math.max(most, Math.abs(knots[k]!), Math.abs(knots[size + k]!));
  }
  return { knots, most };
}

/** Brings in what of the model lies within a box, its sums, then its weights. */
function holdUnder(scope: KernelScope, model: ModelSums, bounds: ReturnType<typeof mappedBounds>, most: number) {
  const margin = LANCZOS_RADIUS + Math.ceil(most);
  const x0 = Math.max(0, Math.floor(bounds.x0) - model.x0 - margin);
  const y0 = Math.max(0, Math.floor(bounds.y0) - model.y0 - margin);
  const x1 = Math.min(model.width, Math.ceil(bounds.x1) - model.x0 + margin + 1);
  const y1 = Math.min(model.height, Math.ceil(bounds.y1) - model.y0 + margin + 1);
  const [width, height] = [x1 - x0, y1 - y0];
  if (width < 2 * LANCZOS_RADIUS || height < 2 * LANCZOS_RADIUS) return undefined;
  const { address, length } = scope.hold(2 * width * height);
  const memory = scope.floats(address, length);
  for (const [k, plane] of [model.planes[0]!, model.weight].entries()) {
    for (let y = 0; y < height; y++) {
      const at = (y0 + y) * model.width + x0;
      memory.set(plane.subarray(at, at + width), (k * height + y) * width);
    }
  }
  return { address, width, height, x0: x0 + model.x0, y0: y0 + model.y0 };
}

/**
 * Share of the others at a place, frame px: the mean of all moves with the frame, so that a shift against all is that part
 * of one against the others. Good until the scope ends or holds more.
 */
export function shareOf(scope: KernelScope, { share, width, height }: OthersInFrame): (x: number, y: number) => number {
  const data = scope.floats(share.address, share.length);
  return (x, y) => bilinearAt(data, width, height, x, y);
}

/** What of a frame is measured: what lies farther inside than detail is made up by mirroring. */
export function innerBox(width: number, height: number): UsableBox {
  const border = borderPx(width, height);
  return { x0: border, y0: border, x1: width - 1 - border, y1: height - 1 - border };
}

/** Weight of the others below which the model says nothing; a usual frame has 1. */
const LEAST_OTHERS = 0.2;
const LAGRANGE = { weights: LAGRANGE_WEIGHTS, steps: LAGRANGE_PHASES };

/** Near its border a frame's detail is made up by mirroring: it counts from this far inside, rising over as much. */
export function borderPx(width: number, height: number): number {
  return Math.max(LANCZOS_RADIUS - 1, Math.min(16, Math.floor(Math.min(width, height) / 32)));
}

function addFrame(sums: ModelSums, { detail, pose, weight, bend }: ModelFrame, from: number, to: number): void {
  const border = borderPx(detail.width, detail.height);
  accumulateWithKernels({
    sums,
    rows: [from, to],
    frame: { width: detail.width, height: detail.height, planes: [detail] },
    plateToFrame: invert(pose),
    frameWeight: weight,
    borderPx: border,
    featherPx: border + 1,
    ...(bend && { bend }),
  });
}
