import type { CubeTable } from './cube-table.js';

/**
 * Brings recorded values through a table, in place: a curve by straight lines between entries, a lattice by tetrahedra,
 * which keeps neutral colours neutral (Kasson, Nin, Plouffe & Hafner 1995, doi 10.1117/12.208656). What lies outside the
 * domain is taken as at its border. A grey picture goes through as neutral colours and keeps their green.
 */
export function applyTable(table: CubeTable, planes: readonly Float32Array[]): void {
  const [red, green = red, blue = red] = planes as readonly [Float32Array, Float32Array?, Float32Array?];
  const held = Math.min(BAND, red.length);
  const at = [0, 1, 2].map(() => new Float32Array(held)) as [Float32Array, Float32Array, Float32Array];
  for (let from = 0; from < red.length; from += held) {
    const to = Math.min(red.length, from + held);
    [red, green!, blue!].forEach((plane, c) => {
      positions(table, c, plane.subarray(from, to), at[c]!);
    });
    const out = planes.length === 1 ? [undefined, red, undefined] : [red, green, blue];
    const parts = out.map((plane) => plane?.subarray(from, to));
    if (table.dimensions === 1) alongCurves(table, at, parts);
    else inLattice(table, at, parts, to - from);
  }
}

/** Pixels that are worked on at a time. */
const BAND = 4096;

/** Positions of values among the entries of a channel, 0..size − 1. */
function positions({ size, domain: [low, high] }: CubeTable, c: number, from: Float32Array, to: Float32Array): void {
  const [first, last] = [low[c]!, size - 1];
  const scale = last / (high[c]! - first);
  for (let i = 0; i < from.length; i++) {
    const position = (from[i]! - first) * scale;
    to[i] = Math.max(0, Math.min(last, position));
  }
}

type Parts = readonly (Float32Array | undefined)[];

function alongCurves({ size, values }: CubeTable, at: readonly Float32Array[], out: Parts): void {
  out.forEach((plane, c) => {
    if (!plane) return;
    const positions = at[c]!;
    for (let i = 0; i < plane.length; i++) {
      const first = Math.min(size - 2, Math.floor(positions[i]!));
      const low = values[3 * first + c]!;
      plane[i] = low + (positions[i]! - first) * (values[3 * first + 3 + c]! - low);
    }
  });
}

function inLattice({ size, values }: CubeTable, at: readonly Float32Array[], out: Parts, count: number): void {
  const [xs, ys, zs] = at as readonly [Float32Array, Float32Array, Float32Array];
  const [red, green, blue] = out;
  const [sx, sy, sz, most] = [3, 3 * size, 3 * size * size, size - 2];
  for (let p = 0; p < count; p++) {
    const [x, y, z] = [xs[p]!, ys[p]!, zs[p]!];
    const i = Math.min(most, Math.floor(x));
    const j = Math.min(most, Math.floor(y));
    const k = Math.min(most, Math.floor(z));
    const [u, v, w] = [x - i, y - j, z - k];
    // From corner to corner of the cell along its edges, the farthest way first: four corners and their shares.
    let [largest, middle, least, one, two] = [u, v, w, sx, sy];
    if (u >= v && v < w) {
      if (u >= w) {
        middle = w;
        least = v;
        two = sz;
      } else {
        largest = w;
        middle = u;
        least = v;
        one = sz;
        two = sx;
      }
    } else if (u < v) {
      largest = v;
      one = sy;
      if (w >= v) {
        largest = w;
        middle = v;
        least = u;
        one = sz;
        two = sy;
      } else if (w >= u) {
        middle = w;
        least = u;
        two = sz;
      } else {
        middle = u;
        two = sx;
      }
    }
    const a = i * sx + j * sy + k * sz;
    const b = a + one;
    const c = b + two;
    const d = a + sx + sy + sz;
    const [wa, wb, wc] = [1 - largest, largest - middle, middle - least];
    if (red) red[p] = wa * values[a]! + wb * values[b]! + wc * values[c]! + least * values[d]!;
    if (green) green[p] = wa * values[a + 1]! + wb * values[b + 1]! + wc * values[c + 1]! + least * values[d + 1]!;
    if (blue) blue[p] = wa * values[a + 2]! + wb * values[b + 2]! + wc * values[c + 2]! + least * values[d + 2]!;
  }
}
