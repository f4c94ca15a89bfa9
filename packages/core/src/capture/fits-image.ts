import type { ByteSource } from './byte-source.js';
import { type BayerPattern, bayerPatternOf } from './demosaic.js';
import { FITS_BLOCK_BYTES, type FitsCards, numberOf, readCards, textOf, wholeOf } from './fits-cards.js';

/** The picture of a FITS file that is used: where it lies and how its numbers are meant. */
export interface FitsImage {
  readonly cards: FitsCards;
  readonly dataOffset: number;
  readonly dataBytes: number;
  /** Samples lie in the tiles of a compressed table (FITS 4.0, section 10). */
  readonly tiled: boolean;
  readonly widthPx: number;
  readonly heightPx: number;
  /** Planes of the whole array, of which the first one or three are used. */
  readonly planes: number;
  readonly channels: 1 | 3;
  /** 8, 16, 32, 64 for integers, -32, -64 for floats. */
  readonly bitpix: number;
  /** Physical value = zero + scale * stored number. */
  readonly zero: number;
  readonly scale: number;
  /** Stored number that stands for a missing sample, in an integer file. */
  readonly blank: number | undefined;
  /** The first stored row is the lowest one. */
  readonly bottomUp: boolean;
  /** The colour filters in the order in which rows are stored, or `undefined`. */
  readonly mosaic: BayerPattern | undefined;
  readonly notes: readonly string[];
}

const MOST_UNITS = 10_000;

/**
 * Finds the first unit of a FITS file that holds a picture. Standards: FITS 4.0 (2018). Rows: the first stored one is
 * taken for the lowest, as the standard recommends, unless the keyword ROWORDER says TOP-DOWN. Throws a plain `Error`
 * with the cause when there is no picture, or none whose samples can be read.
 */
export async function findFitsImage(source: ByteSource): Promise<FitsImage> {
  let found: FitsImage | undefined;
  let images = 0;
  let offset = 0;
  for (let unit = 0; unit < MOST_UNITS && offset < source.sizeBytes; unit++) {
    let header: Awaited<ReturnType<typeof readCards>>;
    try {
      header = await readCards(source, offset);
    } catch (error) {
      if (found !== undefined) break;
      throw error;
    }
    const { cards, dataOffset } = header;
    const dataBytes = dataBytesOf(cards);
    const tiled = cards.get('ZIMAGE') === true;
    if (tiled || holdsPicture(cards)) {
      images++;
      found ??= imageOf(cards, dataOffset, dataBytes, tiled);
    }
    offset = dataOffset + Math.ceil(dataBytes / FITS_BLOCK_BYTES) * FITS_BLOCK_BYTES;
  }
  if (found === undefined) throw new Error('it holds no picture, only headers or tables');
  if (found.dataOffset + found.dataBytes > source.sizeBytes) {
    throw new Error(`it is cut short: its picture ends at byte ${found.dataOffset + found.dataBytes}`);
  }
  if (images === 1) return found;
  return { ...found, notes: [`The file holds ${images} pictures; the first one is used.`, ...found.notes] };
}

/** FITS 4.0, equation 2. */
function dataBytesOf(cards: FitsCards): number {
  const axes = sizesOf(cards, '');
  if (axes.length === 0) return 0;
  const elements = axes.reduce((product, size) => product * size, 1);
  const parameters = wholeOf(cards, 'PCOUNT') ?? 0;
  const bytes = (Math.abs(bitpixOf(cards, '')) / 8) * (wholeOf(cards, 'GCOUNT') ?? 1) * (parameters + elements);
  if (!(bytes >= 0 && bytes <= Number.MAX_SAFE_INTEGER)) throw new Error(`it announces ${bytes} bytes of data`);
  return bytes;
}

function sizesOf(cards: FitsCards, prefix: string): number[] {
  const count = wholeOf(cards, `${prefix}NAXIS`) ?? 0;
  if (count < 0 || count > 999) throw new Error(`its ${prefix}NAXIS is ${count}`);
  return Array.from({ length: count }, (_, i) => {
    const size = wholeOf(cards, `${prefix}NAXIS${i + 1}`);
    if (size === undefined || size < 0) throw new Error(`its ${prefix}NAXIS${i + 1} is ${size ?? 'missing'}`);
    return size;
  });
}

function bitpixOf(cards: FitsCards, prefix: string): number {
  const bitpix = wholeOf(cards, `${prefix}BITPIX`);
  if (bitpix === undefined || ![8, 16, 32, 64, -32, -64].includes(bitpix)) {
    throw new Error(`its ${prefix}BITPIX is ${bitpix ?? 'missing'}`);
  }
  return bitpix;
}

function holdsPicture(cards: FitsCards): boolean {
  const kind = textOf(cards, 'XTENSION');
  const sizes = sizesOf(cards, '');
  return (kind === '' || kind === 'IMAGE') && sizes.length >= 2 && sizes.every((size) => size > 0);
}

function imageOf(cards: FitsCards, dataOffset: number, dataBytes: number, tiled: boolean): FitsImage {
  const prefix = tiled ? 'Z' : '';
  const [widthPx = 0, heightPx = 0, ...more] = sizesOf(cards, prefix);
  if (widthPx < 1 || heightPx < 1) throw new Error(`its compressed picture is ${widthPx} x ${heightPx}`);
  if (widthPx === 3 && more[0] !== undefined && more[0] > 3) {
    throw new Error('its colours are interleaved (NAXIS1 = 3), which FITS has no convention for');
  }
  const planes = more.reduce((product, size) => product * size, 1);
  const channels = more[0] === 3 ? 3 : 1;
  const notes: string[] = [];
  if (planes > channels)
    notes.push(`The array has ${planes} planes; the first ${channels === 3 ? '3 are' : 'is'} used.`);
  const bitpix = bitpixOf(cards, prefix);
  const order = textOf(cards, 'ROWORDER');
  const mosaic = channels === 1 ? mosaicOf(cards) : undefined;
  if (mosaic !== undefined) notes.push('Colours are those of the camera, without white balance.');
  return {
    cards,
    dataOffset,
    dataBytes,
    tiled,
    widthPx,
    heightPx,
    planes,
    channels: mosaic === undefined ? channels : 3,
    bitpix,
    zero: numberOf(cards, 'BZERO') ?? 0,
    scale: numberOf(cards, 'BSCALE') || 1,
    blank: bitpix > 0 ? (numberOf(cards, 'BLANK') ?? numberOf(cards, 'ZBLANK')) : undefined,
    bottomUp: order !== 'TOP-DOWN',
    mosaic,
    notes,
  };
}

/** BAYERPAT, moved by XBAYROFF and YBAYROFF, as capture programs write them: filters of the pixels stored first. */
function mosaicOf(cards: FitsCards): BayerPattern | undefined {
  const name = textOf(cards, 'BAYERPAT');
  if (name === '' || name === 'NONE') return undefined;
  const moved = bayerPatternOf(name, wholeOf(cards, 'XBAYROFF') ?? 0, wholeOf(cards, 'YBAYROFF') ?? 0);
  if (moved === undefined) throw new Error(`its colour filters are ${name}; RGGB, BGGR, GRBG and GBRG are read`);
  return moved;
}
