import type { RowSource } from '../compute/image.js';
import { type Survey, surveyWithKernels } from '../compute/kernels-survey.js';
import { BLOCK_PX } from './blocks.js';

/** Linear light from which on a recorded value counts as clipped. */
const CLIPPED = 0.995;
/** A pixel stands out when it leaves all its neighbours behind by this many σ of the noise. */
const STAND_OUT = 4;
/** And by this share of the whole range about it: what the optics have blurred never rises that steeply. */
const STEEPNESS = 0.6;
/** A frame in which more than this share of the pixels stand out is noisy rather than defective. */
const MOST_SHARE = 2e-3;
/** Noise is never taken for smaller than this, linear light: the step of an 8-bit code in the dark. */
const LEAST_NOISE = 5e-4;

/**
 * One way through an upright picture: its binned luminance, blocks of `BLOCK_PX · binFactor` pixels a side, and the pixels
 * that no optics can have made: brighter, or darker, than all eight neighbours in any channel by a clear margin.
 *
 * @param noise standard deviation of a pixel, linear light
 */
export function surveyFrame(source: RowSource, binFactor: number, noise: number): Survey {
  return surveyWithKernels(source, {
    binFactor,
    blockPx: BLOCK_PX,
    clipping: CLIPPED,
    margin: STAND_OUT * Math.max(LEAST_NOISE, noise),
    steepness: STEEPNESS,
    mostSpikes: Math.floor(MOST_SHARE * source.width * source.height),
  });
}
