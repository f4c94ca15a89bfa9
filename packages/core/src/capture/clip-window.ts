import { closeSync, openSync } from 'node:fs';
import { readInto } from '../job/read-into.js';
import type { PictureFacts, StoredRows } from './clip-facts.js';
import { type ClipLayout, planeSize } from './clip-layout.js';
import { tightPlane } from './clip-rows.js';

/** One picture of a clip: where its codes lie. */
export interface ClipPicture {
  /** File of codes, the byte at which those of this picture begin, and how its rows lie. */
  readonly codes: string;
  readonly at: number;
  readonly rows: StoredRows;
  readonly facts: PictureFacts;
}

/** Codes of some rows of a plane, from its row `top` down, without gaps. */
export interface PlaneWindow {
  readonly codes: Uint8Array | Uint16Array;
  readonly top: number;
}

/** Of each plane the rows that light of the picture's rows from `y` on depends on. They hold until the next are read. */
export type ReadRows = (y: number, count: number) => readonly PlaneWindow[];

/** Reads a picture's codes from its file as they are asked for; `siteY` is the row on which the first difference stands. */
export function rowReader(
  { codes, at, rows: stored, facts }: ClipPicture,
  layout: ClipLayout,
  siteY: number,
): ReadRows {
  const { widthPx: width, heightPx: height } = facts;
  let from = at;
  const planes = layout.planes.map(({ down }, p) => {
    const [samples, rows] = planeSize(layout, p, width, height);
    const stride = stored.strides[p]!;
    const start = from;
    from += stride * rows;
    return { down, rows, stride, start, wanted: samples * layout.bytes, lowestFirst: stored.lowestFirst && p === 0 };
  });
  const memory = planes.map(() => Buffer.allocUnsafeSlow(0));
  return (y, count) => {
    const file = openSync(codes, 'r');
    try {
      return planes.map(({ down, rows, stride, start, wanted, lowestFirst }, p) => {
        const rowAt = (v: number): number =>
          Math.min(Math.max(Math.floor((v - (down > 1 ? siteY : 0)) / down), 0), rows - 1);
        const top = rowAt(y);
        const end = Math.min(rows, rowAt(y + count - 1) + 2);
        const length = stride * (end - top);
        if (memory[p]!.length < length) memory[p] = Buffer.allocUnsafeSlow(length);
        const bytes = memory[p]!.subarray(0, length);
        readInto(file, start + stride * (lowestFirst ? rows - end : top), bytes);
        return { codes: codesIn(tightPlane(bytes, stride, wanted, end - top, lowestFirst), layout), top };
      });
    } finally {
      closeSync(file);
    }
  };
}

function codesIn(bytes: Buffer, layout: ClipLayout): Uint8Array | Uint16Array {
  if (layout.bytes === 1) return new Uint8Array(bytes.buffer, bytes.byteOffset, bytes.length);
  if (layout.bigEndian) bytes.swap16();
  return new Uint16Array(bytes.buffer, bytes.byteOffset, bytes.length / 2);
}
