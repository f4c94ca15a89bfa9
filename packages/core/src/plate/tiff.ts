import { type ClipCount, encode16 } from './encode.js';
import { type MasterColour, profileOf, SRGB_COLOUR } from './master-colour.js';
import type { PlateSource } from './plate-source.js';
import type { LevelBand } from './pyramid-bands.js';
import { TILE_PX, type TiledTiffOptions, type TiledTiffResult, type TileFormat, writeTiledTiff } from './tiled-tiff.js';

export interface PlateTiffOptions extends TiledTiffOptions {
  /** Default: sRGB. The samples must be of its primaries already. */
  readonly colour?: MasterColour;
}

/** What was written. */
export interface PlateTiffResult extends TiledTiffResult {
  /** Colour samples under coverage that were below 0 (or not a number) and became 0. */
  readonly clippedLow: number;
  /** Colour samples under coverage that were above 1 and became the largest code. */
  readonly clippedHigh: number;
}

/** Samples of a pixel: red, green, blue, alpha. */
const SAMPLES = 4;

/**
 * Writes the master: 16 bits with coverage as unassociated alpha, always RGBA (a grey picture is written to all three
 * colours), tiles of 256 px, deflate with horizontal differences, a profile embedded, and a pyramid unless it is not wanted. Colours are not
 * multiplied with the coverage; where it rounds to 0 they are exactly 0. What {@link writeTiledTiff} promises and throws
 * holds here, too.
 */
export async function writePlateTiff(
  path: string,
  source: PlateSource,
  options: PlateTiffOptions = {},
): Promise<PlateTiffResult> {
  const { colour = SRGB_COLOUR } = options;
  const clips: ClipCount = { low: 0, high: 0 };
  const result = await writeTiledTiff(path, source, codeFormat(colour, clips), options);
  return { clippedLow: clips.low, clippedHigh: clips.high, ...result };
}

function codeFormat(colour: MasterColour, clips: ClipCount): TileFormat {
  return {
    pixelBytes: SAMPLES * 2,
    entries: [
      { tag: 258, type: 'short', values: [16, 16, 16, 16] }, // BitsPerSample
      { tag: 262, type: 'short', values: [2] }, // PhotometricInterpretation: RGB
      { tag: 277, type: 'short', values: [SAMPLES] },
      { tag: 317, type: 'short', values: [2] }, // Predictor: horizontal differences
      { tag: 338, type: 'short', values: [2] }, // ExtraSamples: unassociated alpha
      { tag: 339, type: 'short', values: [1, 1, 1, 1] }, // SampleFormat: unsigned
      { tag: 34675, type: 'undefined', values: profileOf(colour) },
    ],
    encode: (band, left) => encodeTile(band, left, colour, band.level === 0 ? clips : { low: 0, high: 0 }),
  };
}

/** One tile as little-endian differences between neighbouring pixels; beyond the plate's edge everything is 0. */
function encodeTile(band: LevelBand, left: number, colour: MasterColour, clips: ClipCount): Buffer {
  const codes = new Uint16Array(TILE_PX * TILE_PX * SAMPLES);
  const { width, height } = band.image;
  const length = Math.min(TILE_PX, width - left);
  for (let y = 0; y < height; y++) {
    const to = y * TILE_PX * SAMPLES;
    encodeCodes(codes.subarray(to, to + length * SAMPLES), band, y * width + left, colour, clips);
    differences(codes.subarray(to, to + TILE_PX * SAMPLES));
  }
  return Buffer.from(codes.buffer);
}

/**
 * Fills a row with RGBA codes of a window's pixels from index `from` on: runs of covered pixels are encoded, the rest is
 * left as it is, which must be 0.
 */
export function encodeCodes(
  row: Uint16Array,
  { image, coverage }: Pick<LevelBand, 'image' | 'coverage'>,
  from: number,
  { encoding }: MasterColour,
  clips: ClipCount,
): void {
  const width = row.length / SAMPLES;
  for (let x = 0; x < width; x++) row[x * SAMPLES + 3] = alphaCode(coverage.data[from + x]!);
  for (let start = 0; start < width; ) {
    if (row[start * SAMPLES + 3] === 0) {
      start++;
      continue;
    }
    let end = start;
    while (end < width && row[end * SAMPLES + 3] !== 0) end++;
    for (let channel = 0; channel < 3; channel++) {
      const plane = image.planes[channel];
      if (plane === undefined) copyChannel(row, start, end, channel);
      else encode16(encoding, row, start * SAMPLES + channel, SAMPLES, plane, from + start, end - start, clips);
    }
    start = end;
  }
}

/** Grey: the first channel's codes are used again, so that a clipped sample counts once. */
function copyChannel(row: Uint16Array, start: number, end: number, channel: number): void {
  for (let x = start; x < end; x++) row[x * SAMPLES + channel] = row[x * SAMPLES]!;
}

function alphaCode(coverage: number): number {
  return coverage > 0 ? Math.round(65535 * Math.min(1, coverage)) : 0;
}

function differences(row: Uint16Array): void {
  for (let i = row.length - 1; i >= SAMPLES; i--) row[i]! -= row[i - SAMPLES]!;
}
