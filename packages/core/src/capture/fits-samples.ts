import type { ByteSource } from './byte-source.js';
import { demosaic } from './demosaic.js';
import { type FitsImage, findFitsImage } from './fits-image.js';
import { exceeds, type FitsWhite, guessedWhite, scalesOf, statedWhite } from './fits-scale.js';
import { readTiles } from './fits-tiles.js';
import type { StoredSamples } from './linearise.js';
import type { FormatFacts } from './still-header.js';

/** The facts of a FITS file's first picture. Throws a plain `Error` with the cause when it cannot be read truthfully. */
export async function judgeFits(source: ByteSource): Promise<FormatFacts> {
  const image = await findFitsImage(source);
  const stated = statedWhite(image);
  const notes = [...image.notes];
  if (stated?.note !== undefined) notes.push(stated.note);
  const { widthPx, heightPx, channels, bitpix } = image;
  const scale = keepsCodes(image) ? { scale: codeScale(image, stated!.white) } : {};
  return {
    storedWidthPx: widthPx,
    storedHeightPx: heightPx,
    channels,
    alpha: 'none',
    bitsPerSample: Math.abs(bitpix),
    samples: keepsCodes(image) ? 'unsigned' : 'float',
    orientation: 1,
    icc: undefined,
    declared: undefined,
    linear: image.mosaic === undefined ? 'unless-told' : 'always',
    notes,
    ...scale,
  };
}

/**
 * Reads the first picture, rows from the top down. Whole numbers of 8 and 16 bits stay codes (shifted to begin at 0);
 * all else comes as shares of the clipping point; a picture behind colour filters is demosaiced.
 */
export async function readFits(source: ByteSource): Promise<StoredSamples> {
  const image = await findFitsImage(source);
  const used = image.mosaic === undefined ? image.channels : 1;
  const bytes = image.tiled
    ? await readTiles(source, image, used)
    : await source.read(image.dataOffset, (image.widthPx * image.heightPx * used * Math.abs(image.bitpix)) / 8);
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  if (keepsCodes(image)) return readCodes(view, image);
  const { shares, notes } = readShares(view, image, used);
  if (image.mosaic === undefined) return { planes: shares.map((plane) => topDown(plane, image)), notes };
  const [mosaic] = shares as [Float32Array];
  let clippedPixels = 0;
  for (const value of mosaic) if (value >= 1) clippedPixels++;
  const light = demosaic({ width: image.widthPx, height: image.heightPx, data: mosaic }, image.mosaic);
  return { light: true, planes: light.map((plane) => topDown(plane, image)), clippedPixels, notes };
}

function keepsCodes({ bitpix, scale, mosaic }: FitsImage): boolean {
  return (bitpix === 8 || bitpix === 16) && scale > 0 && mosaic === undefined;
}

/** The codes that mean 0 and 1, where a signed number is its code less 32768. */
function codeScale({ bitpix, zero, scale }: FitsImage, white: number): { zero: number; white: number } {
  const shift = bitpix === 16 ? 32768 : 0;
  return { zero: shift - zero / scale, white: shift + (white - zero) / scale };
}

function readCodes(view: DataView, image: FitsImage): StoredSamples {
  const { widthPx, heightPx, channels, bitpix, bottomUp } = image;
  const deep = bitpix === 16;
  const blank = image.blank === undefined ? -1 : image.blank + (deep ? 32768 : 0);
  const pixels = widthPx * heightPx;
  const codes = deep ? new Uint16Array(pixels * channels) : new Uint8Array(pixels * channels);
  let missing = 0;
  for (let channel = 0; channel < channels; channel++) {
    for (let y = 0; y < heightPx; y++) {
      let from = channel * pixels + (bottomUp ? heightPx - 1 - y : y) * widthPx;
      for (let x = 0, at = y * widthPx * channels + channel; x < widthPx; x++, at += channels, from++) {
        const code = deep ? view.getUint16(from * 2) ^ 0x8000 : view.getUint8(from);
        if (code === blank) missing++;
        codes[at] = code;
      }
    }
  }
  refuseMissing(missing);
  return { codes, stride: channels };
}

/** Physical values as shares of the clipping point, in stored order. */
function readShares(
  view: DataView,
  image: FitsImage,
  used: number,
): { readonly shares: Float32Array[]; readonly notes: readonly string[] } {
  const { widthPx, heightPx, zero, scale } = image;
  const stored = readerOf(view, image);
  const pixels = widthPx * heightPx;
  const chosen = statedWhite(image) ?? measuredWhite(stored, image, pixels * used);
  let missing = 0;
  const shares = Array.from({ length: used }, (_, channel) => {
    const plane = new Float32Array(pixels);
    for (let i = 0, from = channel * pixels; i < pixels; i++, from++) {
      const value = stored(from);
      if (Number.isFinite(value) && value !== image.blank) plane[i] = (zero + scale * value) / chosen.white;
      else missing++;
    }
    return plane;
  });
  refuseMissing(missing);
  return { shares, notes: statedWhite(image) === undefined && chosen.note !== undefined ? [chosen.note] : [] };
}

function measuredWhite(stored: (index: number) => number, image: FitsImage, samples: number): FitsWhite {
  const { zero, scale, blank } = image;
  const scales = scalesOf(image);
  const above = scales.map(() => 0);
  for (let i = 0; i < samples; i++) {
    const raw = stored(i);
    const value = zero + scale * raw;
    if (raw === blank || !Number.isFinite(value)) continue;
    for (let s = 0; s < scales.length && exceeds(value, scales[s]!); s++) above[s]!++;
  }
  return guessedWhite(scales, above, samples);
}

function readerOf(view: DataView, { bitpix }: FitsImage): (index: number) => number {
  if (bitpix === 8) return (i) => view.getUint8(i);
  if (bitpix === 16) return (i) => view.getInt16(i * 2);
  if (bitpix === 32) return (i) => view.getInt32(i * 4);
  if (bitpix === 64) return (i) => Number(view.getBigInt64(i * 8));
  return bitpix === -32 ? (i) => view.getFloat32(i * 4) : (i) => view.getFloat64(i * 8);
}

/** Frames carry no coverage, and a value made up for a missing one would be taken for light. */
function refuseMissing(missing: number): void {
  if (missing > 0) {
    throw new Error(
      `${missing} of its samples are missing (not a number, infinite, or BLANK), and no value is made up for them; ` +
        'crop them away or repair them first',
    );
  }
}

/** Brings the rows of a plane from stored order to top down, in place. */
function topDown(plane: Float32Array, { widthPx, heightPx, bottomUp }: FitsImage): Float32Array {
  if (!bottomUp) return plane;
  const row = new Float32Array(widthPx);
  for (let y = 0; y < heightPx >> 1; y++) {
    const upper = y * widthPx;
    const lower = (heightPx - 1 - y) * widthPx;
    row.set(plane.subarray(upper, upper + widthPx));
    plane.copyWithin(upper, lower, lower + widthPx);
    plane.set(row, lower);
  }
  return plane;
}
