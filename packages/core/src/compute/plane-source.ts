import { closeSync, openSync, readSync, writeSync } from 'node:fs';
import type { Plane } from './image.js';
import type { HeldFloats, KernelScope } from './kernels.js';

/** A plane that lies in a file, Float32 in this machine's byte order, row-major: so many may be at hand as the disk holds. */
export interface StoredPlane {
  readonly width: number;
  readonly height: number;
  readonly path: string;
  /** Bytes of the file before its first pixel. */
  readonly offset: number;
}

/** A plane that a task reads for itself: in memory (shared, to reach a worker without a copy), or in a file. */
export type PlaneSource = Plane | StoredPlane;

/** Where planes of one size lie that a file holds one after the other. */
export function planesInFile(path: string, count: number, width: number, height: number): StoredPlane[] {
  return Array.from({ length: count }, (_, k) => ({ width, height, path, offset: 4 * width * height * k }));
}

/** Rows from..to−1 of a plane, row-major; of one in memory a view, no copy. Throws an `Error` where a file ends early. */
export function planeRows(source: PlaneSource, from: number, to: number): Float32Array {
  const { width } = source;
  if ('data' in source) return source.data.subarray(from * width, to * width);
  const rows = new Float32Array((to - from) * width);
  readInto(source, from * width, rows);
  return rows;
}

/** The whole plane, in memory. */
export function wholePlane(source: PlaneSource): Plane {
  const { width, height } = source;
  return 'data' in source ? source : { width, height, data: planeRows(source, 0, height) };
}

/** Brings a whole plane into the memory of the kernels. */
export function putPlane(scope: KernelScope, source: PlaneSource): HeldFloats {
  if ('data' in source) return scope.put(source.data);
  const held = scope.hold(source.width * source.height);
  readInto(source, 0, scope.floats(held.address, held.length));
  return held;
}

/** Writes a plane to its place in a file that is there already. */
export function storePlane({ path, offset }: StoredPlane, data: Float32Array): void {
  const file = openSync(path, 'r+');
  try {
    const bytes = new Uint8Array(data.buffer, data.byteOffset, data.byteLength);
    for (let at = 0; at < bytes.length; ) at += writeSync(file, bytes, at, bytes.length - at, offset + at);
  } finally {
    closeSync(file);
  }
}

function readInto({ path, offset }: StoredPlane, first: number, into: Float32Array): void {
  const file = openSync(path, 'r');
  try {
    const bytes = new Uint8Array(into.buffer, into.byteOffset, into.byteLength);
    const start = offset + 4 * first;
    for (let at = 0; at < bytes.length; ) {
      const read = readSync(file, bytes, at, bytes.length - at, start + at);
      if (read === 0) throw new Error(`${path} ends early; delete the work folder and run again`);
      at += read;
    }
  } finally {
    closeSync(file);
  }
}
