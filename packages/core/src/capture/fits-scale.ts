import { numberOf } from './fits-cards.js';
import type { FitsImage } from './fits-image.js';

/** Which physical value means 1, and how that is known, in plain words (`undefined` when it is plain from the type). */
export interface FitsWhite {
  readonly white: number;
  readonly note: string | undefined;
}

/** Keywords by which programs state the value at which the sensor saturates. */
const SATURATION = ['SATURATE', 'SATLEVEL'];
/** Full scales of common sensors and files, each also one more. */
const FULL_SCALES = [1, 255, 1023, 4095, 16383, 65535];

/**
 * What the header says of the sensor's clipping point: SATURATE or SATLEVEL; else DATAMAX when it is a full scale (the
 * standard lets it be the brightest value of the one picture, which differs from frame to frame); else, for integers
 * of 8 and 16 bits, the largest number of the type.
 */
export function statedWhite(image: FitsImage): FitsWhite | undefined {
  for (const keyword of SATURATION) {
    const value = numberOf(image.cards, keyword);
    if (value !== undefined && value > 0) return { white: value, note: `1 is ${value}, by the keyword ${keyword}.` };
  }
  const greatest = numberOf(image.cards, 'DATAMAX');
  if (greatest !== undefined && FULL_SCALES.some((full) => greatest === full || greatest === full + 1)) {
    return { white: greatest, note: `1 is ${greatest}, by the keyword DATAMAX.` };
  }
  const { bitpix, scale, zero } = image;
  if (bitpix !== 8 && bitpix !== 16) return undefined;
  const largest = zero + scale * (scale > 0 ? 2 ** (bitpix === 8 ? 8 : 15) - 1 : bitpix === 8 ? 0 : -32768);
  if (!(largest > 0)) throw new Error(`its BZERO ${zero} and BSCALE ${scale} allow no value above 0`);
  return { white: largest, note: undefined };
}

/** Part of the samples, 1 in this many, that must lie above a scale before the next larger one is taken. */
const FEW = 1000;
/** How far values may lie above their scale, from calibration. */
const ABOVE = 1.5;

/** The scales of which floats (-32, -64) and wide integers are taken to be on one; far apart, so that a pass keeps to one. */
export function scalesOf({ bitpix, zero, scale }: FitsImage): readonly number[] {
  if (bitpix < 0) return [1, 255, 65535];
  return [65535, Math.abs(scale) * (2 ** (bitpix - 1) - 1) + zero];
}

/**
 * Chooses the smallest scale that fewer than one sample in 1000 exceeds by half. A brightest value alone would choose
 * differently from frame to frame. `above[i]` counts the samples above 1.5 times `scales[i]`. Throws a plain `Error`
 * when none fits.
 */
export function guessedWhite(scales: readonly number[], above: readonly number[], samples: number): FitsWhite {
  const at = above.findIndex((count) => count * FEW < samples);
  const white = scales[at];
  if (white === undefined) {
    throw new Error(
      `its values go beyond ${scales.at(-1)}, and no keyword SATURATE says which value is the sensor's clipping point`,
    );
  }
  return { white, note: white === 1 ? undefined : `1 is taken to be ${white}; a keyword SATURATE would say so.` };
}

/** Whether a value counts as above a scale. */
export function exceeds(value: number, scale: number): boolean {
  return value > ABOVE * scale;
}
