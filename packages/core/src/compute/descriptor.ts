import type { Plane } from './image.js';
import type { Keypoint } from './keypoints.js';

/** A keypoint's surroundings, free of rotation, size, brightness and contrast: 4 x 4 cells of 8 gradient directions. */
export interface Descriptor {
  /** Place and size (σ) of the keypoint, px of the picture that was searched. */
  readonly x: number;
  readonly y: number;
  readonly sigmaPx: number;
  /** Direction that the descriptor is turned to, radians, x towards y. */
  readonly angleRad: number;
  /** Length {@link DESCRIPTOR_LENGTH}, Euclidean norm 1. */
  readonly values: Float32Array;
}

const CELLS = 4;
const DIRECTIONS = 8;
export const DESCRIPTOR_LENGTH: number = CELLS * CELLS * DIRECTIONS;
/** Side of a cell in units of the keypoint's σ. */
const CELL_SIGMAS = 3;
const ORIENTATION_BINS = 36;
/** A second direction of at least this share of the strongest gives a second descriptor. */
const SECOND_DIRECTION = 0.8;
/** No single entry may be above this share of the norm, so that contrast changes do not dominate. */
const ENTRY_LIMIT = 0.2;

/** The descriptors of a keypoint (Lowe 2004), one for each of its main gradient directions. */
export function describe(keypoint: Keypoint): Descriptor[] {
  const { x, y, sigmaPx } = keypoint;
  return mainDirections(keypoint).map((angleRad) => ({
    x,
    y,
    sigmaPx,
    angleRad,
    values: histogram(keypoint, angleRad),
  }));
}

function mainDirections({ level, levelX, levelY, levelSigmaPx }: Keypoint): number[] {
  const sigma = 1.5 * levelSigmaPx;
  let bins = new Float64Array(ORIENTATION_BINS);
  forGradients(level, levelX, levelY, 3 * sigma, (dx, dy, gx, gy) => {
    const turn = (Math.atan2(gy, gx) / (2 * Math.PI) + 1) * ORIENTATION_BINS;
    const bin = Math.round(turn) % ORIENTATION_BINS;
    bins[bin]! += Math.hypot(gx, gy) * Math.exp(-(dx * dx + dy * dy) / (2 * sigma * sigma));
  });
  const at = (i: number): number => bins[(i + ORIENTATION_BINS) % ORIENTATION_BINS]!;
  for (let round = 0; round < 2; round++) bins = bins.map((v, i) => (at(i - 1) + 2 * v + at(i + 1)) / 4);
  const highest = Math.max(...bins);
  const directions: number[] = [];
  for (let i = 0; i < ORIENTATION_BINS; i++) {
    const [left, value, right] = [at(i - 1), at(i), at(i + 1)];
    if (value < SECOND_DIRECTION * highest || value <= left || value < right) continue;
    const offset = (left - right) / (2 * (left + right - 2 * value));
    directions.push(((i + offset) * 2 * Math.PI) / ORIENTATION_BINS);
  }
  return directions;
}

function histogram({ level, levelX, levelY, levelSigmaPx }: Keypoint, angle: number): Float32Array {
  const values = new Float32Array(DESCRIPTOR_LENGTH);
  const cell = CELL_SIGMAS * levelSigmaPx;
  const cos = Math.cos(angle) / cell;
  const sin = Math.sin(angle) / cell;
  const radius = (cell * Math.SQRT2 * (CELLS + 1)) / 2;
  forGradients(level, levelX, levelY, radius, (dx, dy, gx, gy) => {
    const u = cos * dx + sin * dy;
    const v = -sin * dx + cos * dy;
    const column = u + CELLS / 2 - 0.5;
    const row = v + CELLS / 2 - 0.5;
    if (column <= -1 || column >= CELLS || row <= -1 || row >= CELLS) return;
    const weight = Math.hypot(gx, gy) * Math.exp(-(u * u + v * v) / (0.5 * CELLS * CELLS));
    const turn = ((Math.atan2(gy, gx) - angle) / (2 * Math.PI) + 2) * DIRECTIONS;
    spread(values, column, row, turn, weight);
  });
  normalise(values);
  for (let i = 0; i < values.length; i++) values[i] = Math.min(ENTRY_LIMIT, values[i]!);
  normalise(values);
  return values;
}

/** Adds the weight to the two nearest cells of each axis and the two nearest directions. */
function spread(values: Float32Array, column: number, row: number, turn: number, weight: number): void {
  const c0 = Math.floor(column);
  const r0 = Math.floor(row);
  const d0 = Math.floor(turn);
  const [fc, fr, fd] = [column - c0, row - r0, turn - d0];
  for (let j = 0; j < 2; j++) {
    const r = r0 + j;
    if (r < 0 || r >= CELLS) continue;
    const rowWeight = weight * (j ? fr : 1 - fr);
    for (let i = 0; i < 2; i++) {
      const c = c0 + i;
      if (c < 0 || c >= CELLS) continue;
      const cellWeight = rowWeight * (i ? fc : 1 - fc);
      const start = (r * CELLS + c) * DIRECTIONS;
      values[start + (d0 % DIRECTIONS)]! += cellWeight * (1 - fd);
      values[start + ((d0 + 1) % DIRECTIONS)]! += cellWeight * fd;
    }
  }
}

function forGradients(
  level: Plane,
  x: number,
  y: number,
  radius: number,
  visit: (dx: number, dy: number, gx: number, gy: number) => void,
): void {
  const { width, height, data } = level;
  for (let row = Math.max(1, Math.ceil(y - radius)); row <= Math.min(height - 2, y + radius); row++) {
    for (let column = Math.max(1, Math.ceil(x - radius)); column <= Math.min(width - 2, x + radius); column++) {
      const i = row * width + column;
      visit(column - x, row - y, data[i + 1]! - data[i - 1]!, data[i + width]! - data[i - width]!);
    }
  }
}

function normalise(values: Float32Array): void {
  let square = 0;
  for (const v of values) square += v * v;
  const scale = 1 / Math.sqrt(square + 1e-30);
  for (let i = 0; i < values.length; i++) values[i]! *= scale;
}

/** Dot product of a descriptor's values with those that begin at `start` in a row of many. */
export function dotAt(values: Float32Array, all: Float32Array, start: number): number {
  let a = 0;
  let b = 0;
  let c = 0;
  let d = 0;
  for (let k = 0; k < DESCRIPTOR_LENGTH; k += 4) {
    a += values[k]! * all[start + k]!;
    b += values[k + 1]! * all[start + k + 1]!;
    c += values[k + 2]! * all[start + k + 2]!;
    d += values[k + 3]! * all[start + k + 3]!;
  }
  return a + b + c + d;
}
