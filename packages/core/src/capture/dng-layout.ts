import type { ByteSource } from './byte-source.js';
import { type BayerPattern, bayerPatternOf } from './demosaic.js';
import { DNG_TAG, type DngTags, numberIn, readDngTags } from './dng-tags.js';

/** A part of a sensor's data that is coded by itself: a strip or a tile. Pixels of the stored picture. */
export interface DngBlock {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
  readonly offset: number;
  readonly bytes: number;
}

/** A rectangle of the stored picture, px. */
export interface DngArea {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
}

/** Where a DNG's sensor data lie and how they are coded. */
export interface DngLayout {
  readonly main: DngTags;
  readonly raw: DngTags;
  /** The stored picture. */
  readonly widthPx: number;
  readonly heightPx: number;
  /** Samples of a pixel: 1 behind colour filters or of a sensor without, 3 of linear colour. */
  readonly samples: 1 | 3;
  readonly bits: number;
  readonly littleEndian: boolean;
  readonly coding: 'plain' | 'lossless-jpeg';
  readonly blocks: readonly DngBlock[];
  /** The part that the sensor's light falls on; black levels count from its corner. */
  readonly active: DngArea;
  /** The part of the stored picture that is meant to be seen. */
  readonly crop: DngArea;
  /** Colours of the filters, seen from the corner of `crop`; undefined without filters. */
  readonly pattern: BayerPattern | undefined;
}

/** Reads how a DNG's sensor data are stored. Throws a plain `Error` with the cause when they cannot be read truthfully. */
export async function readDngLayout(source: ByteSource): Promise<DngLayout> {
  const { main, raw } = await readDngTags(source);
  const widthPx = numberIn(raw, DNG_TAG.ImageWidth, 0);
  const heightPx = numberIn(raw, DNG_TAG.ImageLength, 0);
  if (!(widthPx >= 1 && heightPx >= 1)) throw new Error(`it announces ${widthPx} x ${heightPx} pixels`);
  const samples = numberIn(raw, DNG_TAG.SamplesPerPixel, 1);
  const mosaic = numberIn(raw, DNG_TAG.Photometric, -1) === MOSAIC;
  if (samples !== 1 && (mosaic || samples !== 3)) throw new Error(`its pixels have ${samples} samples`);
  if (samples > 1 && numberIn(raw, DNG_TAG.PlanarConfiguration, 1) !== 1)
    throw new Error('its colours lie in planes apart');
  if (numberIn(raw, DNG_TAG.SampleFormat, 1) !== 1) throw new Error('its samples are not unsigned integers');
  const depths = raw.get(DNG_TAG.BitsPerSample) ?? [];
  const bits = depths[0] ?? 0;
  if (!(Number.isInteger(bits) && bits >= 8 && bits <= 16) || depths.some((depth) => depth !== bits)) {
    throw new Error(`its samples have ${depths} bits; 8 to 16 are read`);
  }
  const head = await source.read(0, 2);
  const coding = codingOf(numberIn(raw, DNG_TAG.Compression, 1));
  const active = activeOf(raw, widthPx, heightPx);
  const crop = cropOf(raw, active);
  return {
    main,
    raw,
    widthPx,
    heightPx,
    samples,
    bits,
    littleEndian: head[0] === 0x49,
    coding,
    blocks: blocksOf(source, raw, widthPx, heightPx, samples, bits, coding),
    active,
    crop,
    pattern: mosaic ? patternOf(raw, crop.x - active.x, crop.y - active.y) : undefined,
  };
}

const MOSAIC = 32803;

function codingOf(compression: number): DngLayout['coding'] {
  if (compression === 1) return 'plain';
  if (compression === 7) return 'lossless-jpeg';
  const name = LOSSY.get(compression) ?? `by scheme ${compression}`;
  throw new Error(
    `its samples are compressed ${name}, which is not read; convert it to a DNG that is compressed without loss`,
  );
}

const LOSSY: ReadonlyMap<number, string> = new Map([
  [8, 'by Deflate'],
  [34892, 'as lossy JPEG'],
  [52546, 'as JPEG XL'],
]);

function blocksOf(
  source: ByteSource,
  raw: DngTags,
  width: number,
  height: number,
  samples: number,
  bits: number,
  coding: DngLayout['coding'],
): DngBlock[] {
  const tileWidth = raw.get(DNG_TAG.TileWidth)?.[0];
  const wide = tileWidth ?? width;
  const high =
    tileWidth === undefined
      ? Math.min(numberIn(raw, DNG_TAG.RowsPerStrip, height), height)
      : numberIn(raw, DNG_TAG.TileLength, 0);
  if (!(wide >= 1 && high >= 1 && wide <= MOST_SIDE && high <= MOST_SIDE))
    throw new Error(`its tiles have ${wide} x ${high} pixels`);
  const offsets = raw.get(tileWidth === undefined ? DNG_TAG.StripOffsets : DNG_TAG.TileOffsets) ?? [];
  const lengths = raw.get(tileWidth === undefined ? DNG_TAG.StripByteCounts : DNG_TAG.TileByteCounts) ?? [];
  const across = Math.ceil(width / wide);
  const count = across * Math.ceil(height / high);
  if (offsets.length < count || lengths.length < count) {
    throw new Error(`it lists ${Math.min(offsets.length, lengths.length)} of its ${count} strips or tiles`);
  }
  return Array.from({ length: count }, (_, i) => {
    const y = Math.floor(i / across) * high;
    const rows = tileWidth === undefined ? Math.min(high, height - y) : high;
    const [offset, bytes] = [offsets[i]!, lengths[i]!];
    // Every sample of a lossless JPEG takes a bit at least.
    const least =
      coding === 'plain' ? Math.ceil((wide * samples * bits) / 8) * rows : Math.ceil((wide * rows * samples) / 8);
    if (bytes < least || offset + bytes > source.sizeBytes) {
      throw new Error(`it is cut short: strip or tile ${i + 1} of ${count} is missing or ends beyond the file`);
    }
    return { x: (i % across) * wide, y, width: wide, height: rows, offset, bytes };
  });
}

/** Longest side of a tile, px: a header that announces more is broken. */
const MOST_SIDE = 65_536;

function activeOf(raw: DngTags, width: number, height: number): DngArea {
  const [top = 0, left = 0, bottom = height, right = width] = raw.get(DNG_TAG.ActiveArea) ?? [];
  if (!(top >= 0 && left >= 0 && bottom <= height && right <= width && bottom - top >= 2 && right - left >= 2)) {
    throw new Error(`its active area (${[top, left, bottom, right]}) is not within its ${width} x ${height} pixels`);
  }
  return { x: left, y: top, width: right - left, height: bottom - top };
}

/** The default crop counts from the corner of the active area; parts of a pixel are rounded inwards. */
function cropOf(raw: DngTags, active: DngArea): DngArea {
  const [x = 0, y = 0] = raw.get(DNG_TAG.DefaultCropOrigin) ?? [];
  const [width = active.width, height = active.height] = raw.get(DNG_TAG.DefaultCropSize) ?? [];
  const left = Math.ceil(x);
  const top = Math.ceil(y);
  const right = Math.floor(x + width);
  const bottom = Math.floor(y + height);
  if (
    !(
      left >= 0 &&
      top >= 0 &&
      right <= active.width &&
      bottom <= active.height &&
      right - left >= 2 &&
      bottom - top >= 2
    )
  ) {
    throw new Error(`its crop (${[x, y, width, height]}) is not within its active area`);
  }
  return { x: active.x + left, y: active.y + top, width: right - left, height: bottom - top };
}

/** Colour filters repeat from the corner of the active area; the pattern is seen from a pixel further right and down. */
function patternOf(raw: DngTags, right: number, down: number): BayerPattern {
  const [rows = 0, columns = 0] = raw.get(DNG_TAG.CfaRepeatPatternDim) ?? [];
  const planes = raw.get(DNG_TAG.CfaPlaneColor) ?? [0, 1, 2];
  const filters = raw.get(DNG_TAG.CfaPattern) ?? [];
  const name = filters.map((filter) => 'RGB'[filter] ?? '?').join('');
  const plain = rows === 2 && columns === 2 && numberIn(raw, DNG_TAG.CfaLayout, 1) === 1 && `${planes}` === '0,1,2';
  const pattern = plain ? bayerPatternOf(name, right, down) : undefined;
  if (pattern === undefined)
    throw new Error(`its colour filters (${rows} x ${columns}, ${name}) are not of Bayer's pattern`);
  return pattern;
}
