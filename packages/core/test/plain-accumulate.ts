// What the accumulating kernel stands for, in plain double precision: the yardstick of its tests.
import { applyX, applyY } from '../src/compute/affine.js';
import type { Bend } from '../src/compute/kernels-accumulate.js';
import { LANCZOS_PHASES, LANCZOS_RADIUS, LANCZOS_TAPS, LANCZOS_WEIGHTS } from '../src/compute/lanczos.js';
import { bilinearAt } from '../src/compute/sample.js';
import type { AccumulateInput } from '../src/strip/accumulate.js';

/** Adds a frame to some rows of a strip's sums, Lanczos 3, in place. */
export function plainAccumulate(input: AccumulateInput): void {
  const { sums, frame, plateToFrame: back, frameWeight, featherPx, bend, offsets = [] } = input;
  const channels = sums.planes.length;
  const margin = LANCZOS_RADIUS - 1;
  const border = Math.max(input.borderPx ?? 0, margin + Math.max(0, ...offsets.flat().map(Math.abs)));
  for (let row = input.rows[0]; row < input.rows[1]; row++) {
    const y = row + sums.y0;
    for (let column = 0; column < sums.width; column++) {
      const x = column + sums.x0;
      const [du, dv, share] = bend ? bendAt(bend, x, y) : [0, 0, 1];
      const sx = applyX(back, x, y) + du;
      const sy = applyY(back, x, y) + dv;
      const inside = Math.min(sx - border, sy - border, frame.width - 1 - border - sx, frame.height - 1 - border - sy);
      if (!(inside > 0)) continue;
      const rise = inside >= featherPx ? 1 : inside / featherPx;
      const weight = share * frameWeight * rise * rise * (3 - 2 * rise);
      const at = row * sums.width + column;
      for (let c = 0; c < channels; c++) {
        const [ox, oy] = offsets[c] ?? [0, 0];
        sums.planes[c]![at]! += weight * lanczosAt(frame.planes[c]!, frame.width, sx + ox, sy + oy);
      }
      sums.weight[at]! += weight;
    }
  }
}

/** Bend, frame px, and share of the weight between the knots, bilinear; off the knots nothing is seen. */
function bendAt(bend: Bend, x: number, y: number): [number, number, number] {
  const { x0, y0, stepPx, columns, rows, knots } = bend;
  const [u, v] = [(x - x0) / stepPx, (y - y0) / stepPx];
  if (u < 0 || v < 0 || u >= columns - 1 || v > rows - 1) return [Number.NaN, Number.NaN, 0];
  const size = columns * rows;
  const at = (p: number): number => bilinearAt(knots.subarray(p * size, (p + 1) * size), columns, rows, u, v);
  return [at(0), at(1), knots.length > 2 * size ? at(2) : 1];
}

function lanczosAt(data: Float32Array, width: number, x: number, y: number): number {
  const ix = Math.floor(x);
  const iy = Math.floor(y);
  const px = Math.round((x - ix) * LANCZOS_PHASES) * LANCZOS_TAPS;
  const py = Math.round((y - iy) * LANCZOS_PHASES) * LANCZOS_TAPS;
  return interpolate(data, width, (iy - LANCZOS_RADIUS + 1) * width + ix - LANCZOS_RADIUS + 1, px, py);
}

function interpolate(data: Float32Array, stride: number, first: number, px: number, py: number): number {
  const w0 = LANCZOS_WEIGHTS[px]!;
  const w1 = LANCZOS_WEIGHTS[px + 1]!;
  const w2 = LANCZOS_WEIGHTS[px + 2]!;
  const w3 = LANCZOS_WEIGHTS[px + 3]!;
  const w4 = LANCZOS_WEIGHTS[px + 4]!;
  const w5 = LANCZOS_WEIGHTS[px + 5]!;
  let sum = 0;
  for (let j = 0, p = first; j < LANCZOS_TAPS; j++, p += stride) {
    sum +=
      LANCZOS_WEIGHTS[py + j]! *
      (w0 * data[p]! +
        w1 * data[p + 1]! +
        w2 * data[p + 2]! +
        w3 * data[p + 3]! +
        w4 * data[p + 4]! +
        w5 * data[p + 5]!);
  }
  return sum;
}
