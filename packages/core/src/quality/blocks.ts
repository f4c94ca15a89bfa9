import type { LinearImage, Plane } from '../compute/image.js';

/** Side of a block, proxy px. Blocks tile the picture from its first pixel; incomplete ones at the far edges are dropped. */
export const BLOCK_PX = 16;

/** A picture reduced to square blocks of {@link BLOCK_PX} proxy px. */
export interface BlockGrid {
  readonly columns: number;
  readonly rows: number;
  /** Mean linear light of each block, one plane per channel. */
  readonly means: readonly Float32Array[];
  /** Spread (standard deviation) of the luminance within each block. */
  readonly spread: Float32Array;
  /** Energy (mean square) of the finest detail in each block, expected noise subtracted; may be slightly negative. */
  readonly fineEnergy: Float32Array;
  /** Share of the block's recorded pixels that are clipped in any channel. */
  readonly clipped: Float32Array;
}

/** Light of the blocks. */
export type BlockLight = Pick<BlockGrid, 'means' | 'clipped'>;

/** Means and clipped shares of blocks of `BLOCK_PX · binFactor` pixels a side, of a whole picture or some rows of blocks. */
export function lightOfBlocks({ width, height, planes }: LinearImage, binFactor: number): BlockLight {
  const side = BLOCK_PX * binFactor;
  const columns = Math.floor(width / side);
  const rows = Math.floor(height / side);
  const clipped = new Float32Array(columns * rows);
  const means = planes.map((plane) => {
    const mean = new Float32Array(columns * rows);
    const sums = new Float64Array(columns);
    const counts = new Uint32Array(columns);
    for (let r = 0; r < rows; r++) {
      sums.fill(0);
      counts.fill(0);
      for (let y = r * side; y < (r + 1) * side; y++) {
        let i = y * width;
        for (let c = 0; c < columns; c++) {
          let sum = 0;
          let count = 0;
          for (const end = i + side; i < end; i++) {
            const v = plane[i]!;
            sum += v;
            if (v >= CLIPPED) count++;
          }
          sums[c]! += sum;
          counts[c]! += count;
        }
      }
      for (let c = 0; c < columns; c++) {
        mean[r * columns + c] = sums[c]! / (side * side);
        clipped[r * columns + c] = Math.max(clipped[r * columns + c]!, counts[c]! / (side * side));
      }
    }
    return mean;
  });
  return { means, clipped };
}

/**
 * Puts the blocks of a picture together.
 *
 * @param light of its blocks at full scale
 * @param fine finest detail of the luminance at proxy scale
 * @param fineNoiseVariance what noise alone adds to `fine`'s energy
 */
export function reduceToBlocks(light: BlockLight, proxy: Plane, fine: Plane, fineNoiseVariance: number): BlockGrid {
  const columns = Math.floor(proxy.width / BLOCK_PX);
  const rows = Math.floor(proxy.height / BLOCK_PX);
  const proxyMeans = blockMeans(proxy.data, proxy.width, columns, rows, BLOCK_PX, (v) => v);
  const spread = blockMeans(proxy.data, proxy.width, columns, rows, BLOCK_PX, (v) => v * v);
  for (let i = 0; i < spread.length; i++) spread[i] = Math.sqrt(Math.max(0, spread[i]! - proxyMeans[i]! ** 2));
  const fineEnergy = blockMeans(fine.data, fine.width, columns, rows, BLOCK_PX, (v) => v * v);
  for (let i = 0; i < fineEnergy.length; i++) fineEnergy[i]! -= fineNoiseVariance;
  return { columns, rows, ...light, spread, fineEnergy };
}

/** Linear light from which on a recorded value counts as clipped. */
const CLIPPED = 0.995;

function blockMeans(
  data: Float32Array,
  stride: number,
  columns: number,
  rows: number,
  side: number,
  of: (v: number) => number,
): Float32Array {
  const out = new Float32Array(columns * rows);
  const sums = new Float64Array(columns);
  for (let r = 0; r < rows; r++) {
    sums.fill(0);
    for (let y = r * side; y < (r + 1) * side; y++) {
      let i = y * stride;
      for (let c = 0; c < columns; c++) {
        let sum = 0;
        for (let x = 0; x < side; x++) sum += of(data[i++]!);
        sums[c]! += sum;
      }
    }
    for (let c = 0; c < columns; c++) out[r * columns + c] = sums[c]! / (side * side);
  }
  return out;
}
