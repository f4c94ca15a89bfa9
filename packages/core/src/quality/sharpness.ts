import { type Affine, applyX, applyY, invert, mappedBounds } from '../compute/affine.js';
import { bilinearAt } from '../compute/sample.js';
import { BLOCK_PX, type BlockGrid } from './blocks.js';

/** A frame that lies on a strip: its blocks and its pose (proxy px -> strip px at proxy scale). */
export interface PlacedBlocks {
  readonly pose: Affine;
  readonly blocks: BlockGrid;
}

/** Finest detail of frames on the ground that they share, on cells of {@link BLOCK_PX} proxy px. */
export interface GroundEnergy {
  /** Centre of the first cell, strip px at proxy scale. */
  readonly x0: number;
  readonly y0: number;
  readonly columns: number;
  readonly rows: number;
  /** Energy relative to the light, by frame and cell; NaN where the frame shows no lit ground. */
  readonly frames: readonly Float64Array[];
  /** Mean over the frames that show the cell lit; 0 where fewer than two do. */
  readonly mean: Float64Array;
  /** Mean light of the cell. */
  readonly light: Float64Array;
}

/** Lays the finest detail of all frames, expected noise subtracted, on one grid. */
export function groundEnergy(frames: readonly PlacedBlocks[]): GroundEnergy {
  const box = boundsOf(frames);
  const columns = Math.max(1, Math.floor((box.x1 - box.x0) / BLOCK_PX));
  const rows = Math.max(1, Math.floor((box.y1 - box.y0) / BLOCK_PX));
  const mean = new Float64Array(columns * rows);
  const light = new Float64Array(columns * rows);
  const count = new Uint16Array(columns * rows);
  const maps = frames.map((frame) => {
    const map = new Float64Array(columns * rows).fill(Number.NaN);
    energyOnGround(frame, box, columns, rows, (i, energy, level) => {
      map[i] = energy;
      mean[i]! += energy;
      light[i]! += level;
      count[i]!++;
    });
    return map;
  });
  for (let i = 0; i < mean.length; i++) {
    mean[i] = count[i]! < 2 ? 0 : mean[i]! / count[i]!;
    light[i] = count[i] === 0 ? 0 : light[i]! / count[i]!;
  }
  const half = BLOCK_PX / 2;
  return { x0: box.x0 + half, y0: box.y0 + half, columns, rows, frames: maps, mean, light };
}

/**
 * Sharpness of each frame against the mean of all frames that show the same ground: the square root of the ratio of
 * their finest detail, expected noise subtracted, each relative to the light of its block. 1 is as sharp as the mean;
 * comparing the same ground only, a frame that shows more craters is not sharper for it. A frame without lit ground in
 * common with others gets 1.
 */
export function relativeSharpness(frames: readonly PlacedBlocks[]): number[] {
  const { frames: maps, mean } = groundEnergy(frames);
  return maps.map((map) => {
    let own = 0;
    let shared = 0;
    for (let i = 0; i < map.length; i++) {
      if (Number.isNaN(map[i]) || mean[i] === 0) continue;
      own += map[i]!;
      shared += mean[i]!;
    }
    return shared > 0 ? Math.sqrt(Math.max(0, own / shared)) : 1;
  });
}

function boundsOf(frames: readonly PlacedBlocks[]) {
  const boxes = frames.map((frame) =>
    mappedBounds(frame.pose, frame.blocks.columns * BLOCK_PX, frame.blocks.rows * BLOCK_PX),
  );
  return {
    x0: Math.min(...boxes.map((b) => b.x0)),
    y0: Math.min(...boxes.map((b) => b.y0)),
    x1: Math.max(...boxes.map((b) => b.x1)),
    y1: Math.max(...boxes.map((b) => b.y1)),
  };
}

/** Visits the ground cells that a frame shows lit, with their detail energy relative to the light, and the light. */
function energyOnGround(
  frame: PlacedBlocks,
  box: { readonly x0: number; readonly y0: number },
  columns: number,
  rows: number,
  visit: (cell: number, energy: number, light: number) => void,
): void {
  const { blocks } = frame;
  const light = new Float32Array(blocks.columns * blocks.rows);
  for (const plane of blocks.means) for (let i = 0; i < light.length; i++) light[i]! += plane[i]! / blocks.means.length;
  const lit = 0.25 * Math.max(...light);
  const back = invert(frame.pose);
  for (let r = 0; r < rows; r++) {
    for (let c = 0; c < columns; c++) {
      const x = box.x0 + (c + 0.5) * BLOCK_PX;
      const y = box.y0 + (r + 0.5) * BLOCK_PX;
      const u = (applyX(back, x, y) + 0.5) / BLOCK_PX - 0.5;
      const v = (applyY(back, x, y) + 0.5) / BLOCK_PX - 0.5;
      if (u < 0 || v < 0 || u > blocks.columns - 1 || v > blocks.rows - 1) continue;
      const level = bilinearAt(light, blocks.columns, blocks.rows, u, v);
      if (level < lit) continue;
      visit(r * columns + c, bilinearAt(blocks.fineEnergy, blocks.columns, blocks.rows, u, v) / (level * level), level);
    }
  }
}
