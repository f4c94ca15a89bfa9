import { type Affine, applyX, applyY, invert, mappedBounds } from '../compute/affine.js';
import { bilinearAt } from '../compute/sample.js';
import { BLOCK_PX, type BlockGrid } from '../quality/blocks.js';

/** A frame on the plate at proxy scale, as photometry sees it. */
export interface LitFrame {
  /** Proxy px -> plate px at proxy scale. */
  readonly pose: Affine;
  /** Size of the proxy; its blocks leave out what is incomplete at the far edges. */
  readonly widthPx: number;
  readonly heightPx: number;
  readonly blocks: BlockGrid;
  /** Starting value for its sky: the level of its darkest part, by channel. */
  readonly skyStart: readonly number[];
}

/** What every frame recorded of the same patches of ground. Parallel arrays, one entry an observation, sorted by cell. */
export interface GroundObservations {
  readonly cellCount: number;
  /** First observation of each cell; one longer than the number of cells. */
  readonly cellStart: Uint32Array;
  readonly frame: Uint16Array;
  /** Where on the sensor, from its centre, in units of half its diagonal. */
  readonly sensorX: Float32Array;
  readonly sensorY: Float32Array;
  /** Recorded linear light, one array a channel. */
  readonly value: readonly Float32Array[];
  /** Standard deviation to expect of the value, relative to it: structure inside the block under a small misplacement. */
  readonly roughness: Float32Array;
}

/**
 * Lays a grid of ground cells, {@link BLOCK_PX} proxy px a side, over the plate and reads off what each frame recorded
 * there. Clipped blocks are left out. A cell that one frame alone has seen still shows that frame's sky,
 * where it is dark.
 */
export function observeGround(frames: readonly LitFrame[]): GroundObservations {
  const channels = Math.max(...frames.map((f) => f.blocks.means.length));
  const boxes = frames.map((f) => mappedBounds(f.pose, f.blocks.columns * BLOCK_PX, f.blocks.rows * BLOCK_PX));
  const x0 = Math.min(...boxes.map((b) => b.x0));
  const y0 = Math.min(...boxes.map((b) => b.y0));
  const columns = Math.ceil((Math.max(...boxes.map((b) => b.x1)) - x0) / BLOCK_PX);
  const rows = Math.ceil((Math.max(...boxes.map((b) => b.y1)) - y0) / BLOCK_PX);
  const backs = frames.map((f) => invert(f.pose));
  const out = { frame: [] as number[], sx: [] as number[], sy: [] as number[], rough: [] as number[] };
  const value: number[][] = Array.from({ length: channels }, () => []);
  const cellStart: number[] = [0];
  for (let r = 0; r < rows; r++) {
    for (let c = 0; c < columns; c++) {
      const x = x0 + (c + 0.5) * BLOCK_PX;
      const y = y0 + (r + 0.5) * BLOCK_PX;
      const before = out.frame.length;
      frames.forEach((frame, f) => {
        const { blocks } = frame;
        const sx = applyX(backs[f]!, x, y);
        const sy = applyY(backs[f]!, x, y);
        const u = (sx + 0.5) / BLOCK_PX - 0.5;
        const v = (sy + 0.5) / BLOCK_PX - 0.5;
        if (u < 0 || v < 0 || u > blocks.columns - 1 || v > blocks.rows - 1) return;
        const at = (plane: Float32Array): number => bilinearAt(plane, blocks.columns, blocks.rows, u, v);
        if (at(blocks.clipped) > 0) return;
        const halfWidth = frame.widthPx / 2;
        const halfHeight = frame.heightPx / 2;
        const reach = Math.hypot(halfWidth, halfHeight);
        let level = 0;
        for (let k = 0; k < channels; k++) {
          const light = at(blocks.means[k] ?? blocks.means[0]!);
          value[k]!.push(light);
          level += light / channels;
        }
        out.frame.push(f);
        out.sx.push((sx + 0.5 - halfWidth) / reach);
        out.sy.push((sy + 0.5 - halfHeight) / reach);
        out.rough.push((MISPLACED * at(blocks.spread)) / Math.max(level, 1e-4));
      });
      if (out.frame.length > before) cellStart.push(out.frame.length);
    }
  }
  return {
    cellCount: cellStart.length - 1,
    cellStart: Uint32Array.from(cellStart),
    frame: Uint16Array.from(out.frame),
    sensorX: Float32Array.from(out.sx),
    sensorY: Float32Array.from(out.sy),
    value: value.map((list) => Float32Array.from(list)),
    roughness: Float32Array.from(out.rough),
  };
}

/** A misplacement of a px or so moves a block's mean by this share of its inner spread. */
const MISPLACED = 0.15;
