import { type Affine, applyX, applyY, invert, mappedBounds } from '../compute/affine.js';
import { createFloats, createPlane, type Plane } from '../compute/image.js';
import { cubicAt } from '../compute/sample.js';
import type { DetailPicture } from './align.js';

/** A frame's detail on the strip. */
export interface ModelFrame {
  readonly detail: Plane;
  /** Frame px -> strip px. */
  readonly pose: Affine;
  readonly weight: number;
}

/** The running model of a pass: weighted sums of its frames' detail on whole pixels of the strip, from (x0, y0). */
export interface ModelSums {
  readonly x0: number;
  readonly y0: number;
  readonly width: number;
  readonly height: number;
  readonly sum: Float32Array;
  readonly weight: Float32Array;
}

/** Rows that one task stacks. Fixed, so that sums do not depend on the number of workers. */
export const MODEL_BAND_ROWS = 48;

/** Empty sums, in shared memory, that hold every frame. */
export function createModel(frames: readonly ModelFrame[]): ModelSums {
  const bounds = frames.map(({ pose, detail }) => mappedBounds(pose, detail.width, detail.height));
  const x0 = Math.floor(Math.min(...bounds.map((b) => b.x0)));
  const y0 = Math.floor(Math.min(...bounds.map((b) => b.y0)));
  const width = Math.ceil(Math.max(...bounds.map((b) => b.x1))) - x0 + 1;
  const height = Math.ceil(Math.max(...bounds.map((b) => b.y1))) - y0 + 1;
  const floats = (): Float32Array => createFloats(width * height, true);
  return { x0, y0, width, height, sum: floats(), weight: floats() };
}

/** Adds the frames, in their order, to rows from..to−1 of the sums, counted from the first. */
export function stackRows(model: ModelSums, frames: readonly ModelFrame[], from: number, to: number): void {
  for (const frame of frames) {
    const back = invert(frame.pose);
    const { x0, y0, x1, y1 } = reachOf(model, frame);
    for (let y = Math.max(from, y0); y <= Math.min(to - 1, y1); y++) {
      addRow(model.sum, model.weight, y * model.width, frame, back, model.x0 + x0, model.x0 + x1, model.y0 + y, x0);
    }
  }
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
  const back = invert(frame.pose);
  const ownSum = new Float32Array(width);
  const ownWeight = new Float32Array(width);
  for (let y = y0; y <= y1; y++) {
    ownSum.fill(0);
    ownWeight.fill(0);
    if (frame.weight > 0) addRow(ownSum, ownWeight, 0, frame, back, model.x0 + x0, model.x0 + x1, model.y0 + y, 0);
    for (let x = x0; x <= x1; x++) {
      const i = y * model.width + x;
      const k = (y - y0) * width + x - x0;
      const rest = model.weight[i]! - ownWeight[x - x0]!;
      if (rest < LEAST_OTHERS) continue;
      detail.data[k] = (model.sum[i]! - ownSum[x - x0]!) / rest;
      coverage.data[k] = 1;
      share.data[k] = rest / model.weight[i]!;
    }
  }
  return { detail, coverage, share, x0: model.x0 + x0, y0: model.y0 + y0 };
}

/** Weight of the others below which the model says nothing; a usual frame has 1. */
const LEAST_OTHERS = 0.2;

/** Near its border a frame's detail is made up by mirroring: it counts from this far inside, rising over as much. */
export function borderPx(width: number, height: number): number {
  return Math.min(16, Math.floor(Math.min(width, height) / 32));
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

/** Adds one row of a frame, resampled at strip px (left..right, y), to sums from `row + offset` on. */
function addRow(
  sum: Float32Array,
  weight: Float32Array,
  row: number,
  frame: ModelFrame,
  back: Affine,
  left: number,
  right: number,
  y: number,
  offset: number,
): void {
  const { width, height, data } = frame.detail;
  const border = borderPx(width, height);
  for (let x = left; x <= right; x++) {
    const u = applyX(back, x, y);
    const v = applyY(back, x, y);
    const inside = Math.min(u, v, width - 1 - u, height - 1 - v) - border;
    if (inside <= 0) continue;
    const w = frame.weight * Math.min(1, inside / (border + 1));
    const i = row + offset + x - left;
    sum[i]! += w * cubicAt(data, width, height, u, v);
    weight[i]! += w;
  }
}
