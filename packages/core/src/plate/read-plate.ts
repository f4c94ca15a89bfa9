import { planColour } from '../capture/colour-plan.js';
import { decodeStill, toUpright } from '../capture/read-still.js';
import { readStillHeader } from '../capture/still-header.js';
import type { LinearImage, Plane } from '../compute/image.js';
import { InputError } from '../job/errors.js';

/** A plate in linear light (space 4), with its coverage. */
export interface ReadPlate {
  readonly image: LinearImage;
  /** The file's alpha channel, 0..1; 1 everywhere when it has none. */
  readonly coverage: Plane;
}

/**
 * Reads a plate from TIFF (8, 16, 32 bits, float) or PNG (8, 16), RGB or grey, with or without alpha, back into linear
 * light by what the file says of its colours. Colours that are multiplied with alpha are divided by it. Throws
 * {@link InputError} `PLATE_UNREADABLE` when the file cannot be read truthfully.
 */
export async function readPlate(path: string): Promise<ReadPlate> {
  try {
    const header = await readStillHeader(path);
    const { widthPx: width, heightPx: height } = header;
    const { planes, alpha } = await decodeStill(path, header, planColour(header, 'auto'));
    const coverage = alpha ?? new Float32Array(width * height).fill(1);
    return {
      image: { width, height, planes: toUpright(planes, header) },
      coverage: { width, height, data: toUpright([coverage], header)[0]! },
    };
  } catch (cause) {
    const reason = cause instanceof Error ? cause.message : String(cause);
    throw new InputError(
      'PLATE_UNREADABLE',
      `${path} cannot be read as a plate (${reason}). Give a TIFF or PNG, RGB or grey, 8 or 16 bits or float.`,
      { cause },
    );
  }
}
