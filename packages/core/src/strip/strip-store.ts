import type { FloatPool } from '../compute/float-pool.js';
import { boxesTouch, type GridBox, tilesOf } from '../compute/grid-box.js';
import { createRaster, type RasterFile, withRaster } from '../job/raster-file.js';
import type { StripSums } from './accumulate.js';

/** A strip on disk: its place on the plate's grid, and sums of light × weight by channel, the sum of weights last. */
export interface StripFile {
  readonly box: GridBox;
  readonly raster: RasterFile;
}

/** A strip being added up: parts of it in shared memory, the others on disk. */
export interface StripStore {
  readonly strip: StripFile;
  /** All parts that share a pixel with a box of the plate, in memory until the next call. */
  under(box: GridBox): readonly StripSums[];
  /** Writes what is still in memory. */
  finish(): void;
}

/** Side of a part. What a strip becomes does not depend on it. */
export const PART_PX = 512;

/**
 * Opens an empty strip. As the body drifts through, a frame covers only a part of it: the parts that were asked for last
 * stay in memory, as many as `memoryBytes` allows and at least those of one call; the others wait on disk.
 *
 * @param path file to be made
 */
export function createStripStore(
  path: string,
  box: GridBox,
  channels: number,
  memoryBytes: number,
  floats: FloatPool,
): StripStore {
  const strip = { box, raster: { path, width: box.width, height: box.height, planes: channels + 1 } };
  createRaster(strip.raster);
  const parts = tilesOf(box, PART_PX);
  const most = Math.floor(memoryBytes / (4 * PART_PX * PART_PX * (channels + 1)));
  /** Those in memory, the one asked for longest ago first. */
  const held = new Map<GridBox, StripSums>();
  const onDisk = new Set<GridBox>();

  const bring = (part: GridBox): StripSums => {
    const buffers = Array.from({ length: channels + 1 }, () => floats.take(PART_PX * PART_PX));
    const planes = buffers.map((b) => b.subarray(0, part.width * part.height));
    if (onDisk.has(part)) move(strip, part, planes, 'r');
    else for (const plane of planes) plane.fill(0);
    return { ...part, planes: planes.slice(0, channels), weight: planes[channels]! };
  };
  const putAway = (part: GridBox, { planes, weight }: StripSums): void => {
    move(strip, part, [...planes, weight], 'r+');
    onDisk.add(part);
    held.delete(part);
    floats.give([...planes, weight]);
  };

  return {
    strip,
    under(wanted) {
      const asked = parts.filter((part) => boxesTouch(part, wanted));
      const missing = asked.filter((part) => !held.has(part)).length;
      const others = [...held].filter(([part]) => !asked.includes(part));
      for (const [part, sums] of others.slice(0, Math.max(0, held.size + missing - most))) putAway(part, sums);
      return asked.map((part) => {
        const sums = held.get(part) ?? bring(part);
        held.delete(part);
        held.set(part, sums);
        return sums;
      });
    },
    finish() {
      for (const [part, sums] of [...held]) putAway(part, sums);
    },
  };
}

function move({ box, raster }: StripFile, part: GridBox, planes: readonly Float32Array[], access: 'r' | 'r+'): void {
  const at = { ...part, x0: part.x0 - box.x0, y0: part.y0 - box.y0 };
  withRaster(raster, access, (open) => {
    for (const [k, plane] of planes.entries()) access === 'r' ? open.read(k, at, plane) : open.write(k, at, plane);
  });
}

/** Light and weight of a window of the plate as a strip has it; 0 where it has no weight. */
export interface StripWindow {
  readonly planes: readonly Float32Array[];
  readonly weight: Float32Array;
}

/** Reads a window of the plate from a strip. */
export function readStrip({ box, raster }: StripFile, window: GridBox): StripWindow {
  const at = { ...window, x0: window.x0 - box.x0, y0: window.y0 - box.y0 };
  const all = Array.from({ length: raster.planes }, () => new Float32Array(window.width * window.height));
  withRaster(raster, 'r', (open) => {
    for (const [k, plane] of all.entries()) open.read(k, at, plane);
  });
  const planes = all.slice(0, -1);
  const weight = all.at(-1)!;
  for (const plane of planes) {
    for (let i = 0; i < weight.length; i++) plane[i] = weight[i]! > 0 ? plane[i]! / weight[i]! : 0;
  }
  return { planes, weight };
}
