import { closeSync, ftruncateSync, openSync, readSync, writeSync } from 'node:fs';
import type { GridBox } from '../compute/grid-box.js';
import { InternalError } from './errors.js';

/** Planes of Float32 on disk, one after the other, each row by row, in this machine's byte order. Plain, so that it can be sent to workers. */
export interface RasterFile {
  readonly path: string;
  readonly width: number;
  readonly height: number;
  readonly planes: number;
}

/** Makes the file at its full size, all 0; where the file system can, it takes no room before it is written. */
export function createRaster(raster: RasterFile): void {
  const file = openSync(raster.path, 'w');
  try {
    ftruncateSync(file, rasterBytes(raster));
  } finally {
    closeSync(file);
  }
}

/** Size of the file. */
export function rasterBytes({ width, height, planes }: RasterFile): number {
  return 4 * width * height * planes;
}

/** Runs `work` with the file open: to be read, or to be changed, too. */
export function withRaster<T>(raster: RasterFile, access: 'r' | 'r+', work: (open: OpenRaster) => T): T {
  const file = openSync(raster.path, access);
  try {
    return work({
      read: (plane, box, into) => readWindow(file, raster, plane, box, into),
      write: (plane, box, from) => writeWindow(file, raster, plane, box, from),
    });
  } finally {
    closeSync(file);
  }
}

/** Windows of an open {@link RasterFile}. */
export interface OpenRaster {
  /** Fills `into` with a window of a plane, row by row; 0 beyond the raster. */
  read(plane: number, box: GridBox, into: Float32Array): void;
  /** Puts a window, which must lie within the raster, into a plane. */
  write(plane: number, box: GridBox, from: Float32Array): void;
}

function readWindow(file: number, raster: RasterFile, plane: number, box: GridBox, into: Float32Array): void {
  const left = Math.max(0, box.x0);
  const right = Math.min(raster.width, box.x0 + box.width);
  const top = Math.max(0, box.y0);
  const bottom = Math.min(raster.height, box.y0 + box.height);
  if (left > box.x0 || top > box.y0 || right < box.x0 + box.width || bottom < box.y0 + box.height) into.fill(0);
  if (left >= right) return;
  for (const { y, rows } of runs(raster, box, top, bottom)) {
    const at = (y - box.y0) * box.width + left - box.x0;
    const bytes = bytesOf(into, at, rows * (right - left));
    const position = positionOf(raster, plane, left, y);
    for (let done = 0; done < bytes.length; ) {
      const got = readSync(file, bytes, done, bytes.length - done, position + done);
      if (got === 0) throw new InternalError(`${raster.path} ends early; delete the work folder and run again`);
      done += got;
    }
  }
}

function writeWindow(file: number, raster: RasterFile, plane: number, box: GridBox, from: Float32Array): void {
  for (const { y, rows } of runs(raster, box, box.y0, box.y0 + box.height)) {
    const bytes = bytesOf(from, (y - box.y0) * box.width, rows * box.width);
    const position = positionOf(raster, plane, box.x0, y);
    for (let done = 0; done < bytes.length; ) {
      done += writeSync(file, bytes, done, bytes.length - done, position + done);
    }
  }
}

/** Most bytes of one call, so that no single one runs into the limits of the system. */
const CALL_BYTES = 1 << 28;

/** Stretches of rows that lie one after the other in the file: single ones, unless the window is as wide as the raster. */
function runs(raster: RasterFile, box: GridBox, top: number, bottom: number): { y: number; rows: number }[] {
  const isWhole = box.x0 === 0 && box.width === raster.width;
  const step = isWhole ? Math.max(1, Math.floor(CALL_BYTES / (4 * box.width))) : 1;
  const out = [];
  for (let y = top; y < bottom; y += step) out.push({ y, rows: Math.min(step, bottom - y) });
  return out;
}

function positionOf({ width, height }: RasterFile, plane: number, x: number, y: number): number {
  return 4 * ((plane * height + y) * width + x);
}

function bytesOf(floats: Float32Array, at: number, length: number): Uint8Array {
  return new Uint8Array(floats.buffer, floats.byteOffset + 4 * at, 4 * length);
}
