import { pictures } from '../capture/picture-library.js';
import { InputError, throwIfAborted } from '../job/errors.js';
import type { MasterColour } from '../plate/master-colour.js';
import { inSrgb } from './srgb-codes.js';

/**
 * Rows of a plate: 16-bit sRGB codes, whatever colour it is stored in, and alpha; red, green, blue, alpha of one pixel after
 * the other.
 */
export interface PlateRows {
  readonly y0: number;
  readonly rows: number;
  readonly codes: Uint16Array;
}

/** What is read of a plate. */
export interface StoredPlate {
  readonly path: string;
  readonly widthPx: number;
  readonly heightPx: number;
  /** How its codes are to be read. */
  readonly colour: MasterColour;
}

/** Samples of a pixel. */
export const SAMPLES = 4;

/**
 * A plate from top to bottom, in bands of whole rows of tiles that hold about 4 million pixels, so that memory does not grow
 * with the plate's height. Throws {@link InputError} `PLATE_UNREADABLE` when it is no plate of that size.
 */
export async function* plateRows(
  { path, widthPx, heightPx, colour }: StoredPlate,
  signal?: AbortSignal,
): AsyncGenerator<PlateRows> {
  const rowsAtOnce = TILE_PX * Math.max(1, Math.floor(BAND_PIXELS / (widthPx * TILE_PX)));
  for (let y0 = 0; y0 < heightPx; y0 += rowsAtOnce) {
    throwIfAborted(signal);
    const rows = Math.min(rowsAtOnce, heightPx - y0);
    const stored = await readRows(path, widthPx, y0, rows);
    yield { y0, rows, codes: inSrgb(stored, colour) };
  }
}

const BAND_PIXELS = 2 ** 22;
/** Rows of a tile: bands that end where tiles do have each one unpacked once. */
const TILE_PX = 256;

async function readRows(path: string, width: number, top: number, height: number): Promise<Uint16Array> {
  try {
    const { data, info } = await pictures(path, { ignoreIcc: true, limitInputPixels: false, failOn: 'error' })
      .extract({ left: 0, top, width, height })
      .toColourspace('rgb16')
      .raw({ depth: 'ushort' })
      .toBuffer({ resolveWithObject: true });
    if (info.channels !== SAMPLES || info.width !== width) throw new Error(`it has ${info.channels} channels`);
    return new Uint16Array(data.buffer, data.byteOffset, data.length / 2);
  } catch (cause) {
    const reason = cause instanceof Error ? cause.message : String(cause);
    throw new InputError('PLATE_UNREADABLE', `${path} cannot be read as a plate (${reason}). Stitch it again.`, {
      cause,
    });
  }
}
