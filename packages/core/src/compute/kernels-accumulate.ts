import { type Affine, applyX, applyY, invert, mappedBounds } from './affine.js';
import { type KernelScope, withKernels } from './kernels.js';
import { putTaps, type TapTable } from './kernels-taps.js';
import { LANCZOS_PHASES, LANCZOS_RADIUS, LANCZOS_WEIGHTS } from './lanczos.js';
import { type PlaneSource, planeRows } from './plane-source.js';

/** A frame to be added to some rows of a strip; the fields are those of `AccumulateInput` in strip/accumulate.ts. */
export interface FrameToAdd {
  readonly sums: {
    readonly width: number;
    readonly height: number;
    readonly x0: number;
    readonly y0: number;
    readonly planes: readonly Float32Array[];
    readonly weight: Float32Array;
  };
  /** Rows of the strip, first and one past the last. */
  readonly rows: readonly [number, number];
  readonly frame: {
    readonly width: number;
    readonly height: number;
    /** Each in memory, or as a plane that only the rows wanted are read of. */
    readonly planes: readonly (Float32Array | PlaneSource)[];
  };
  /** Plate px -> frame px. */
  readonly plateToFrame: Affine;
  readonly frameWeight: number;
  readonly featherPx: number;
  readonly borderPx?: number;
  readonly bend?: Bend;
  readonly offsets?: readonly (readonly [number, number])[];
}

/** How a frame is bent and weighed, on a grid of knots on the plate; between knots along straight lines. */
export interface Bend {
  /** Plate px of the first knot; whole numbers, as is the distance of the knots. */
  readonly x0: number;
  readonly y0: number;
  readonly stepPx: number;
  readonly columns: number;
  readonly rows: number;
  /**
   * Planes of knots: frame px to be added to where the pose has a plate pixel in the frame, x and y, and, where there is
   * a third one, what the frame's weight is multiplied with, 0 or more.
   */
  readonly knots: Float32Array;
}

/** Rows of the strip that lie in the memory of the kernels at a time. */
const BAND_ROWS = 64;
const LANCZOS: TapTable = { weights: LANCZOS_WEIGHTS, steps: LANCZOS_PHASES };

/**
 * Adds a frame to the strip's sums in place, as strip/accumulate.ts does, in single precision: light and weights agree
 * with it to about 3e-7 of their size. Only the part of the strip that the frame reaches, and the rows of the frame that
 * take part, are copied in and out. Poses that only shift take a faster way.
 */
export function accumulateWithKernels(input: FrameToAdd): void {
  const { sums, frame, plateToFrame: back, bend, offsets } = input;
  const reach = mappedBounds(invert(back), frame.width, frame.height);
  const { most, box, isWeighed } = limitsOf(bend);
  const apart = Math.max(0, ...(offsets ?? []).flat().map(Math.abs));
  const left = Math.max(0, box.x0 - sums.x0, Math.floor(reach.x0 - most) - sums.x0);
  const right = Math.min(sums.width, box.x1 - sums.x0, Math.ceil(reach.x1 + most) + 1 - sums.x0);
  const top = Math.max(input.rows[0], box.y0 - sums.y0, Math.floor(reach.y0 - most) - sums.y0);
  const bottom = Math.min(input.rows[1], box.y1 - sums.y0, Math.ceil(reach.y1 + most) + 1 - sums.y0);
  if (left >= right || top >= bottom) return;
  withKernels((scope) => {
    const loaded = loadFrame(scope, input, most + apart, left, right, top, bottom);
    if (!loaded) return;
    const columns = right - left;
    const held = scope.hold((sums.planes.length + 1) * columns * Math.min(BAND_ROWS, bottom - top));
    const taps = putTaps(scope, LANCZOS);
    const scratch = scope.reserve((sums.planes.length + 2) * 4 * (columns + 32));
    const { xx, xy, yx, yy, tx, ty } = back;
    const knots = bend ? scope.put(bend.knots).address : 0;
    const apartAt = apart > 0 ? scope.reserve(16 * sums.planes.length) : 0;
    if (apart > 0) scope.doubles(apartAt, 2 * sums.planes.length).set(offsets!.flat());
    const border = Math.max(input.borderPx ?? 0, LANCZOS_RADIUS - 1 + apart);
    for (let row = top; row < bottom; row += BAND_ROWS) {
      const rows = Math.min(BAND_ROWS, bottom - row);
      const size = columns * rows;
      const band = scope.floats(held.address, (sums.planes.length + 1) * size);
      forEachRow(input, left, columns, row, rows, (plane, at, in_) => band.set(plane.subarray(at, at + columns), in_));
      scope.exports.accumulate(
        ...([loaded.address, loaded.planeBytes, sums.planes.length, frame.width, frame.height] as const),
        ...([loaded.left, loaded.top, loaded.stride] as const),
        ...([xx, xy, yx, yy, tx, ty, held.address, 4 * size, left + sums.x0, row + sums.y0, columns, rows] as const),
        ...([input.frameWeight, border, input.featherPx] as const),
        ...([taps, LANCZOS_PHASES, scratch, knots] as const),
        ...([bend?.columns ?? 0, bend?.rows ?? 0, bend?.x0 ?? 0, bend?.y0 ?? 0, bend?.stepPx ?? 1] as const),
        ...([isWeighed, apartAt] as const),
      );
      forEachRow(input, left, columns, row, rows, (plane, at, in_) => plane.set(band.subarray(in_, in_ + columns), at));
    }
  });
}

/** How far a bend moves anything, frame px, and the plate px that it tells about, first and one past the last. */
function limitsOf(bend: Bend | undefined): {
  readonly most: number;
  readonly isWeighed: boolean;
  readonly box: { readonly x0: number; readonly y0: number; readonly x1: number; readonly y1: number };
} {
  if (!bend) return { most: 0, isWeighed: false, box: EVERYWHERE };
  const { x0, y0, stepPx, columns, rows, knots } = bend;
  let most = 0;
  for (let i = 0; i < 2 * columns * rows; i++) most = Math.max(most, Math.abs(knots[i]!));
  const isWeighed = knots.length > 2 * columns * rows;
  // On the plate the same way is as long, but for a turn (a diagonal) and a little scale.
  return {
    most: 1.5 * most,
    isWeighed,
    box: { x0, y0, x1: x0 + (columns - 1) * stepPx, y1: y0 + (rows - 1) * stepPx + 1 },
  };
}

const EVERYWHERE = {
  x0: Number.NEGATIVE_INFINITY,
  y0: Number.NEGATIVE_INFINITY,
  x1: Number.POSITIVE_INFINITY,
  y1: Number.POSITIVE_INFINITY,
};

/** A window of a frame in the memory of the kernels. */
interface LoadedFrame {
  readonly address: number;
  readonly planeBytes: number;
  /** First pixel, and bytes from row to row. */
  readonly left: number;
  readonly top: number;
  readonly stride: number;
}

/** Brings in the part of the frame that the taps can reach. */
function loadFrame(
  scope: KernelScope,
  { sums, frame, plateToFrame: back }: FrameToAdd,
  most: number,
  left: number,
  right: number,
  top: number,
  bottom: number,
): LoadedFrame | undefined {
  const corners = [left, right - 1].flatMap((x) => [top, bottom - 1].map((y) => [x + sums.x0, y + sums.y0] as const));
  const across = reachOf(
    corners.map(([x, y]) => applyX(back, x, y)),
    most,
    frame.width,
  );
  const down = reachOf(
    corners.map(([x, y]) => applyY(back, x, y)),
    most,
    frame.height,
  );
  if (!across || !down) return undefined;
  const width = across.end - across.first;
  const length = width * (down.end - down.first);
  const { address } = scope.hold(length * frame.planes.length);
  const memory = scope.floats(address, length * frame.planes.length);
  for (const [c, plane] of frame.planes.entries()) {
    const source = plane instanceof Float32Array ? { ...frame, data: plane } : plane;
    const rows = planeRows(source, down.first, down.end);
    for (let from = across.first, to = c * length; from < rows.length; from += frame.width, to += width) {
      memory.set(rows.subarray(from, from + width), to);
    }
  }
  return { address, planeBytes: 4 * length, left: across.first, top: down.first, stride: 4 * width };
}

/** Pixels of a side of the frame that taps around some positions can reach, first and one past the last. */
function reachOf(at: readonly number[], most: number, size: number): { first: number; end: number } | undefined {
  const first = Math.max(0, Math.floor(Math.min(...at) - most) - LANCZOS_RADIUS);
  const end = Math.min(size, Math.floor(Math.max(...at) + most) + LANCZOS_RADIUS + 2);
  return first < end ? { first, end } : undefined;
}

/** Every row of a band, plane by plane, the weights last: with its start in the strip's plane and in the band. */
function forEachRow(
  { sums }: FrameToAdd,
  left: number,
  columns: number,
  row: number,
  rows: number,
  visit: (plane: Float32Array, start: number, inBand: number) => void,
): void {
  for (const [c, plane] of [...sums.planes, sums.weight].entries()) {
    for (let k = 0; k < rows; k++) visit(plane, (row + k) * sums.width + left, (c * rows + k) * columns);
  }
}
