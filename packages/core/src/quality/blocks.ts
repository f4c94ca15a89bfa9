import type { Plane } from '../compute/image.js';
import { blockMoments, type Survey } from '../compute/kernels-survey.js';

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

/**
 * Puts together what a {@link surveyFrame} has found of blocks of `BLOCK_PX · binFactor` pixels a side.
 *
 * @param fine finest detail of the luminance at proxy scale
 * @param fineNoiseVariance what noise alone adds to `fine`'s energy
 */
export function reduceToBlocks(survey: Survey, fine: Plane, fineNoiseVariance: number): BlockGrid {
  const { light } = survey;
  const { means, squares } = blockMoments(light, BLOCK_PX);
  return {
    columns: Math.floor(light.width / BLOCK_PX),
    rows: Math.floor(light.height / BLOCK_PX),
    means: survey.means,
    spread: squares.map((square, i) => Math.sqrt(Math.max(0, square - means[i]! ** 2))),
    fineEnergy: blockMoments(fine, BLOCK_PX).squares.map((energy) => energy - fineNoiseVariance),
    clipped: survey.clipped.reduce((most, share) => most.map((v, i) => Math.max(v, share[i]!))),
  };
}
