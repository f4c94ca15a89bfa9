import { type Affine, applyX, applyY, invert, mappedBounds } from '../compute/affine.js';
import { planeRows, type StoredPlane } from '../compute/plane-source.js';

/** A frame that covers ground. */
export interface CoveringFrame {
  readonly proxy: StoredPlane;
  /** Proxy px -> common px. */
  readonly pose: Affine;
  /** Light of the sky in it, and the light above that which counts as 1. */
  readonly skyLevel: number;
  readonly range: number;
  /** Whether it is sharp enough to count. */
  readonly sharp: boolean;
}

/** What frames cover of the common space, in square cells from (x0, y0) on. */
export interface CoverMap {
  readonly cellPx: number;
  readonly x0: number;
  readonly y0: number;
  readonly width: number;
  readonly height: number;
  /** Number of frames on each cell, and of the sharp ones among them. */
  readonly frames: Uint16Array;
  readonly sharp: Uint16Array;
  /** Mean light, sky taken off; 0 where nothing is covered. */
  readonly light: Float32Array;
}

/** Side of a cell, proxy px. */
const CELL_PX = 4;
/** Frames do not count this near to their border, proxy px. */
const BORDER_PX = 4;

/** Lays frames on a common map. Their light is sampled at the middle of each cell, over 3 x 3 px. */
export function mapCover(frames: readonly CoveringFrame[]): CoverMap {
  const bounds = frames.map(({ pose, proxy }) => mappedBounds(pose, proxy.width, proxy.height));
  const x0 = Math.floor(Math.min(...bounds.map((b) => b.x0)));
  const y0 = Math.floor(Math.min(...bounds.map((b) => b.y0)));
  const width = Math.ceil((Math.max(...bounds.map((b) => b.x1)) - x0) / CELL_PX);
  const height = Math.ceil((Math.max(...bounds.map((b) => b.y1)) - y0) / CELL_PX);
  const size = width * height;
  const map = {
    ...{ cellPx: CELL_PX, x0, y0, width, height },
    frames: new Uint16Array(size),
    sharp: new Uint16Array(size),
    light: new Float32Array(size),
  };
  for (const [k, frame] of frames.entries()) addFrame(map, frame, bounds[k]!);
  for (let i = 0; i < size; i++) if (map.frames[i]! > 0) map.light[i]! /= map.frames[i]!;
  return map;
}

function addFrame(map: CoverMap, frame: CoveringFrame, bounds: ReturnType<typeof mappedBounds>): void {
  const { cellPx, x0, y0, width, height } = map;
  const { proxy, pose, skyLevel, range, sharp } = frame;
  const light = planeRows(proxy, 0, proxy.height);
  const back = invert(pose);
  const first = {
    x: Math.max(0, Math.floor((bounds.x0 - x0) / cellPx)),
    y: Math.max(0, Math.floor((bounds.y0 - y0) / cellPx)),
  };
  const last = {
    x: Math.min(width - 1, Math.ceil((bounds.x1 - x0) / cellPx)),
    y: Math.min(height - 1, Math.ceil((bounds.y1 - y0) / cellPx)),
  };
  for (let row = first.y; row <= last.y; row++) {
    for (let column = first.x; column <= last.x; column++) {
      const [u, v] = [x0 + (column + 0.5) * cellPx, y0 + (row + 0.5) * cellPx];
      const [x, y] = [Math.round(applyX(back, u, v)), Math.round(applyY(back, u, v))];
      if (x < BORDER_PX || y < BORDER_PX || x >= proxy.width - BORDER_PX || y >= proxy.height - BORDER_PX) continue;
      const i = row * width + column;
      map.frames[i]!++;
      if (sharp) map.sharp[i]!++;
      map.light[i]! += (around(light, proxy.width, x, y) - skyLevel) / range;
    }
  }
}

function around(light: Float32Array, width: number, x: number, y: number): number {
  let sum = 0;
  for (let v = y - 1; v <= y + 1; v++) for (let u = x - 1; u <= x + 1; u++) sum += light[v * width + u]!;
  return sum / 9;
}
