import type { StoredRows } from './clip-facts.js';
import { type ClipLayout, planeSize } from './clip-layout.js';

/** Bytes that a picture takes whose planes lie one after the other. */
export function storedBytes({ strides }: StoredRows, layout: ClipLayout, width: number, height: number): number {
  return strides.reduce((sum, stride, p) => sum + stride * planeSize(layout, p, width, height)[1], 0);
}

/** The planes of a picture that lie one after the other, each from its top row down without gaps; a copy only where it takes one. */
export function planesIn(
  bytes: Buffer,
  { strides, lowestFirst }: StoredRows,
  layout: ClipLayout,
  width: number,
  height: number,
): Buffer[] {
  let from = 0;
  return layout.planes.map((_, p) => {
    const [samples, rows] = planeSize(layout, p, width, height);
    const stride = strides[p]!;
    const plane = bytes.subarray(from, from + stride * rows);
    from += plane.length;
    return tightPlane(plane, stride, samples * layout.bytes, rows, lowestFirst && p === 0);
  });
}

/** A plane whose rows of `wanted` bytes follow each other from the top down. */
export function tightPlane(plane: Buffer, stride: number, wanted: number, rows: number, lowestFirst: boolean): Buffer {
  if (stride === wanted && !lowestFirst) return plane.subarray(0, wanted * rows);
  const tight = Buffer.allocUnsafeSlow(wanted * rows);
  for (let y = 0; y < rows; y++) {
    const from = (lowestFirst ? rows - 1 - y : y) * stride;
    plane.copy(tight, y * wanted, from, from + wanted);
  }
  return tight;
}
