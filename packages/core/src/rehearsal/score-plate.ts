import { planColour } from '../capture/colour-plan.js';
import { decodeStill, toUpright } from '../capture/read-still.js';
import { readStillHeader } from '../capture/still-header.js';
import { type LinearImage, luminance, type Plane } from '../compute/image.js';
import { InputError } from '../job/errors.js';
import { type ReadPlate, readPlate } from '../plate/read-plate.js';

/** A plate as the scorer needs it. */
export interface ScoredPlate {
  /** Mean of the channels, linear light, plate px (space 4). */
  readonly light: Plane;
  /** Coverage, 0 to 1. */
  readonly coverage: Plane;
}

/**
 * Reads a plate; `linear` takes its values as linear light, whatever the file says of its colours. Throws InputError
 * PLATE_UNREADABLE.
 */
export async function readScoredPlate(path: string, linear: boolean): Promise<ScoredPlate> {
  const { image, coverage } = linear ? await readLinearPlate(path) : await readPlate(path);
  return { light: luminance(image), coverage };
}

async function readLinearPlate(path: string): Promise<ReadPlate> {
  try {
    const header = await readStillHeader(path);
    const { planes, alpha } = await decodeStill(path, header, planColour(header, 'linear'));
    const { widthPx: width, heightPx: height } = header;
    const image: LinearImage = { width, height, planes: toUpright(planes, header) };
    const covered = alpha ?? new Float32Array(width * height).fill(1);
    return { image, coverage: { width, height, data: toUpright([covered], header)[0]! } };
  } catch (cause) {
    const reason = cause instanceof Error ? cause.message : String(cause);
    throw new InputError(
      'PLATE_UNREADABLE',
      `${path} cannot be read as a plate of linear light (${reason}). Give a TIFF or PNG of whole or float samples.`,
      { cause },
    );
  }
}
