import { type FileHandle, open } from 'node:fs/promises';
import { promisify } from 'node:util';
import { deflate } from 'node:zlib';
import { throwIfAborted } from '../job/errors.js';
import { writeWhole } from './atomic.js';
import { type ClipCount, encodeSrgb16 } from './encode.js';
import { srgbProfile } from './icc.js';
import type { PlateSource, PlateWindow } from './plate-source.js';
import { headerBytes, type TiffEntry, tiffDirectory, tiffHeader } from './tiff-layout.js';

export interface PlateTiffOptions {
  /** An XMP packet for tag 700. Default none. */
  readonly xmp?: string;
  /** Replace an existing file. Default false. */
  readonly force?: boolean;
  /** Write a BigTIFF even where a classic TIFF would do. Default false: only when the samples could exceed 4 GiB. */
  readonly bigtiff?: boolean;
  readonly signal?: AbortSignal;
}

/** What was written. */
export interface PlateTiffResult {
  /** Colour samples under coverage that were below 0 (or not a number) and became 0. */
  readonly clippedLow: number;
  /** Colour samples under coverage that were above 1 and became the largest code. */
  readonly clippedHigh: number;
  /** Size of the file. */
  readonly bytes: number;
  readonly bigtiff: boolean;
}

/** Side of a tile. */
const TILE_PX = 256;
/** Samples of a pixel: red, green, blue, alpha. */
const SAMPLES = 4;
/** Tiles that are compressed at once; a fixed figure, so that memory is bounded. */
const TILES_AT_ONCE = 8;
/** A classic TIFF's offsets end here. */
const CLASSIC_BYTES = 2 ** 32;

const compress = promisify(deflate) as (data: Buffer, options: { level: number }) => Promise<Buffer>;

/**
 * Writes the master: 16-bit sRGB with coverage as unassociated alpha, always RGBA (a grey picture is written to all
 * three colours), tiles of 256 px, deflate with horizontal differences, an sRGB profile embedded. Colours are not
 * multiplied with the coverage; where it rounds to 0 they are exactly 0. The file appears whole or not at all, and the
 * same pixels give the same bytes. TIFF 6.0 and its supplement 2. Throws what {@link writeWhole} throws, and
 * `InterruptedError` on abort.
 */
export async function writePlateTiff(
  path: string,
  source: PlateSource,
  options: PlateTiffOptions = {},
): Promise<PlateTiffResult> {
  const bigtiff = options.bigtiff === true || couldExceedClassic(source, options.xmp);
  const clips: ClipCount = { low: 0, high: 0 };
  let bytes = 0;
  await writeWhole(
    path,
    async (temporary) => {
      const file = await open(temporary, 'wx');
      try {
        bytes = await writeFile(file, source, bigtiff, clips, options);
      } finally {
        await file.close();
      }
    },
    { force: options.force ?? false },
  );
  return { clippedLow: clips.low, clippedHigh: clips.high, bytes, bigtiff };
}

/** Deflate can grow data that does not compress by 5 bytes in 16 KiB; a share of 1/1024 covers that and the tables. */
function couldExceedClassic({ width, height }: PlateSource, xmp = ''): boolean {
  const samples = across(width) * across(height) * TILE_PX * TILE_PX * SAMPLES * 2;
  return samples * (1 + 1 / 1024) + Buffer.byteLength(xmp) + 65536 > CLASSIC_BYTES;
}

function across(sizePx: number): number {
  return Math.ceil(sizePx / TILE_PX);
}

async function writeFile(
  file: FileHandle,
  source: PlateSource,
  big: boolean,
  clips: ClipCount,
  { xmp, signal }: PlateTiffOptions,
): Promise<number> {
  const columns = across(source.width);
  const count = columns * across(source.height);
  const offsets: number[] = [];
  const lengths: number[] = [];
  let end = headerBytes(big);
  const start = (index: number): Promise<Buffer> => {
    const tile = encodeTile(source, (index % columns) * TILE_PX, Math.floor(index / columns) * TILE_PX, clips);
    const made = compress(tile, { level: 6 });
    made.catch(() => undefined);
    return made;
  };
  const waiting: Promise<Buffer>[] = [];
  for (let index = 0; index < count; index++) {
    throwIfAborted(signal);
    while (waiting.length < TILES_AT_ONCE && index + waiting.length < count)
      waiting.push(start(index + waiting.length));
    const tile = await waiting.shift()!;
    await file.write(tile, 0, tile.length, end);
    offsets.push(end);
    lengths.push(tile.length);
    end += tile.length;
  }
  end += end & 1;
  const directory = tiffDirectory(big, end, entriesOf(source, offsets, lengths, xmp));
  await file.write(directory, 0, directory.length, end);
  const header = tiffHeader(big, end);
  await file.write(header, 0, header.length, 0);
  return end + directory.length;
}

/** One tile as little-endian differences between neighbouring pixels; beyond the plate's edge everything is 0. */
function encodeTile(source: PlateSource, left: number, top: number, clips: ClipCount): Buffer {
  const codes = new Uint16Array(TILE_PX * TILE_PX * SAMPLES);
  const width = Math.min(TILE_PX, source.width - left);
  const height = Math.min(TILE_PX, source.height - top);
  const window = source.read({ x0: left, y0: top, width, height });
  const row = new Uint16Array(codes.buffer);
  for (let y = 0; y < height; y++) {
    const to = y * TILE_PX * SAMPLES;
    encodeRow(row.subarray(to, to + width * SAMPLES), window, y * width, clips);
    differences(row.subarray(to, to + TILE_PX * SAMPLES));
  }
  return Buffer.from(codes.buffer);
}

/** Encodes runs of covered pixels; the rest of the row stays 0. */
function encodeRow(row: Uint16Array, { image, coverage }: PlateWindow, from: number, clips: ClipCount): void {
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
      else encodeSrgb16(row, start * SAMPLES + channel, SAMPLES, plane, from + start, end - start, clips);
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

function entriesOf(image: PlateSource, offsets: number[], lengths: number[], xmp: string | undefined): TiffEntry[] {
  const entries: TiffEntry[] = [
    { tag: 254, type: 'long', values: [0] }, // NewSubfileType
    { tag: 256, type: 'long', values: [image.width] },
    { tag: 257, type: 'long', values: [image.height] },
    { tag: 258, type: 'short', values: [16, 16, 16, 16] }, // BitsPerSample
    { tag: 259, type: 'short', values: [8] }, // Compression: deflate
    { tag: 262, type: 'short', values: [2] }, // PhotometricInterpretation: RGB
    { tag: 274, type: 'short', values: [1] }, // Orientation: upright
    { tag: 277, type: 'short', values: [SAMPLES] },
    { tag: 284, type: 'short', values: [1] }, // PlanarConfiguration: chunky
    { tag: 317, type: 'short', values: [2] }, // Predictor: horizontal differences
    { tag: 322, type: 'long', values: [TILE_PX] },
    { tag: 323, type: 'long', values: [TILE_PX] },
    { tag: 324, type: 'offset', values: offsets },
    { tag: 325, type: 'long', values: lengths },
    { tag: 338, type: 'short', values: [2] }, // ExtraSamples: unassociated alpha
    { tag: 339, type: 'short', values: [1, 1, 1, 1] }, // SampleFormat: unsigned
    { tag: 34675, type: 'undefined', values: srgbProfile() },
  ];
  if (xmp !== undefined) entries.push({ tag: 700, type: 'byte', values: Buffer.from(xmp, 'utf8') });
  return entries;
}
