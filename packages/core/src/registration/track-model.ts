import { type Affine, invert, mappedBounds } from '../compute/affine.js';
import { createFloats, createPlane, type Plane } from '../compute/image.js';
import { accumulateWithKernels, type Bend, type FrameToAdd } from '../compute/kernels-accumulate.js';
import { LANCZOS_RADIUS } from '../compute/lanczos.js';
import { bilinearAt } from '../compute/sample.js';
import type { DetailPicture } from './align.js';

/** A frame's detail on the strip. */
export interface ModelFrame {
  readonly detail: Plane;
  /** Frame px -> strip px. */
  readonly pose: Affine;
  readonly weight: number;
  /** How the air has bent it, on the strip. Default: not at all. */
  readonly bend?: Bend;
}

/** The running model of a pass: weighted sums of its frames' detail on whole pixels of the strip, from (x0, y0). */
export type ModelSums = FrameToAdd['sums'];

/** Empty sums, in shared memory, that hold every frame. */
export function createModel(frames: readonly ModelFrame[]): ModelSums {
  const bounds = frames.map(({ pose, detail }) => mappedBounds(pose, detail.width, detail.height));
  const x0 = Math.floor(Math.min(...bounds.map((b) => b.x0)));
  const y0 = Math.floor(Math.min(...bounds.map((b) => b.y0)));
  const width = Math.ceil(Math.max(...bounds.map((b) => b.x1))) - x0 + 1;
  const height = Math.ceil(Math.max(...bounds.map((b) => b.y1))) - y0 + 1;
  const floats = (): Float32Array => createFloats(width * height, true);
  return { x0, y0, width, height, planes: [floats()], weight: floats() };
}

/** Adds the frames, in their order, to rows from..to−1 of the sums, counted from the first. */
export function stackRows(model: ModelSums, frames: readonly ModelFrame[], from: number, to: number): void {
  for (const frame of frames) addFrame(model, frame, from, to);
}

/** The model that all frames but one give, where that one lies. */
export interface OthersModel extends DetailPicture {
  readonly detail: Plane;
  readonly coverage: Plane;
  /** Strip px of the first pixel. */
  readonly x0: number;
  readonly y0: number;
  /** Share of the others in the whole model, 0..1. */
  readonly share: Plane;
}

/**
 * The mean of the others under a frame: what the frame itself added is taken out again, so that it is not compared with
 * itself (which would draw every frame towards where it already lies). Undefined for a frame that lies off the model.
 */
export function modelOfOthers(model: ModelSums, frame: ModelFrame): OthersModel | undefined {
  const { x0, y0, x1, y1 } = reachOf(model, frame);
  if (x1 < x0 || y1 < y0) return undefined;
  const width = x1 - x0 + 1;
  const height = y1 - y0 + 1;
  const detail = createPlane(width, height);
  const coverage = createPlane(width, height);
  const share = createPlane(width, height);
  const ownSum = new Float32Array(width * height);
  const ownWeight = new Float32Array(width * height);
  const own = { x0: model.x0 + x0, y0: model.y0 + y0, width, height, planes: [ownSum], weight: ownWeight };
  if (frame.weight > 0) addFrame(own, frame, 0, height);
  for (let k = 0, y = y0; y <= y1; y++) {
    for (let i = y * model.width + x0; i <= y * model.width + x1; i++, k++) {
      const rest = model.weight[i]! - ownWeight[k]!;
      if (rest < LEAST_OTHERS) continue;
      detail.data[k] = (model.planes[0]![i]! - ownSum[k]!) / rest;
      coverage.data[k] = 1;
      share.data[k] = rest / model.weight[i]!;
    }
  }
  return { detail, coverage, share, x0: own.x0, y0: own.y0 };
}

/** A shift against the others, fixed px, from where the frame was stacked to where it fits. */
export interface ShiftOfAll {
  readonly dx: number;
  readonly dy: number;
  /** What the variance of the shift against the others is to be multiplied with. */
  readonly varianceFactor: number;
}

/**
 * What a place is off against all frames, itself among them, given what it is off against the others: the mean of all
 * moves with the frame, so that this is the others' share of that.
 *
 * @param to where the place fits on the others, px of theirs
 * @param from where it was when the frame was stacked, px of theirs
 */
export function shiftOfAll(
  { share }: OthersModel,
  to: readonly [number, number],
  from: readonly [number, number],
): ShiftOfAll {
  const part = bilinearAt(share.data, share.width, share.height, ...to);
  return { dx: part * (to[0] - from[0]), dy: part * (to[1] - from[1]), varianceFactor: part * part };
}

/** Weight of the others below which the model says nothing; a usual frame has 1. */
const LEAST_OTHERS = 0.2;

/** Near its border a frame's detail is made up by mirroring: it counts from this far inside, rising over as much. */
export function borderPx(width: number, height: number): number {
  return Math.max(LANCZOS_RADIUS - 1, Math.min(16, Math.floor(Math.min(width, height) / 32)));
}

function reachOf(model: ModelSums, { pose, detail }: ModelFrame) {
  const b = mappedBounds(pose, detail.width, detail.height);
  return {
    x0: Math.max(0, Math.ceil(b.x0) - model.x0),
    y0: Math.max(0, Math.ceil(b.y0) - model.y0),
    x1: Math.min(model.width - 1, Math.floor(b.x1) - model.x0),
    y1: Math.min(model.height - 1, Math.floor(b.y1) - model.y0),
  };
}

function addFrame(sums: ModelSums, { detail, pose, weight, bend }: ModelFrame, from: number, to: number): void {
  const border = borderPx(detail.width, detail.height);
  accumulateWithKernels({
    sums,
    rows: [from, to],
    frame: { width: detail.width, height: detail.height, planes: [detail.data] },
    plateToFrame: invert(pose),
    frameWeight: weight,
    borderPx: border,
    featherPx: border + 1,
    ...(bend && { bend }),
  });
}
