import type { FormatFacts } from './still-header.js';
import { TIFF_TAG, type TiffTags } from './tiff-tags.js';

const PHOTOMETRIC_NAMES: ReadonlyMap<number, string> = new Map([
  [4, 'a transparency mask'],
  [5, 'CMYK or other inks'],
  [8, 'CIE Lab'],
  [9, 'ICC Lab'],
  [10, 'ITU Lab'],
  [32803, 'a colour filter mosaic (camera raw)'],
  [32844, 'LogL'],
  [32845, 'LogLuv'],
  [34892, 'linear camera raw'],
]);

/** Photometric interpretations that are read: white is zero, black is zero, RGB, palette, YCbCr. */
const READABLE_PHOTOMETRIC: readonly number[] = [0, 1, 2, 3, 6];

/** The facts of a TIFF's first page. Throws a plain `Error` with the cause when its samples cannot be read truthfully. */
export function judgeTiff(tags: TiffTags, sizeBytes: number): FormatFacts {
  const photometric = one(tags, TIFF_TAG.Photometric);
  if (((one(tags, TIFF_TAG.NewSubfileType) ?? 0) & 1) !== 0) throw new Error('its first page is a reduced preview');
  if (photometric === undefined) throw new Error('it does not say how its samples are meant (tag 262 is missing)');
  if (!READABLE_PHOTOMETRIC.includes(photometric)) {
    throw new Error(
      `its samples are ${PHOTOMETRIC_NAMES.get(photometric) ?? `of kind ${photometric}`}, not RGB or grey`,
    );
  }
  const stored = storedSamples(tags, photometric);
  const alpha = alphaOf(tags, stored.extra);
  checkExtent(tags, sizeBytes, stored.perPixel);
  return {
    storedWidthPx: needed(tags, TIFF_TAG.ImageWidth, 'width'),
    storedHeightPx: needed(tags, TIFF_TAG.ImageLength, 'height'),
    channels: stored.channels,
    alpha,
    bitsPerSample: stored.bits,
    samples: stored.samples,
    orientation: one(tags, TIFF_TAG.Orientation) ?? 1,
    icc: tags.icc,
    declared: undefined,
    notes: notesOf(tags, alpha),
  };
}

interface StoredSamples {
  readonly channels: 1 | 3;
  readonly perPixel: number;
  readonly extra: number;
  readonly bits: number;
  readonly samples: 'unsigned' | 'float';
}

function storedSamples(tags: TiffTags, photometric: number): StoredSamples {
  const bits = tags.numbers.get(TIFF_TAG.BitsPerSample) ?? [1];
  const formats = tags.numbers.get(TIFF_TAG.SampleFormat) ?? [1];
  const perPixel = one(tags, TIFF_TAG.SamplesPerPixel) ?? 1;
  if (bits.some((value) => value !== bits[0])) throw new Error(`its channels differ in bits per sample (${bits})`);
  if (formats.some((value) => value !== formats[0])) throw new Error('its channels differ in sample format');
  const depth = bits[0]!;
  const format = formats[0]!;
  if (depth === 1) throw new Error('it has 1 bit per sample, which holds no shades');
  if (format === 2) throw new Error('its samples are signed integers, which do not say where black is');
  if (format !== 1 && format !== 3) throw new Error(`its sample format (${format}) is neither unsigned nor float`);
  const readable = format === 1 ? [8, 16, 32] : [16, 32, 64];
  if (!readable.includes(depth)) throw new Error(`${depth}-bit ${format === 1 ? 'integers' : 'floats'} are not read`);
  const colour = photometric === 2 || photometric === 6;
  const used = colour ? 3 : 1;
  if (perPixel < used) throw new Error(`it has ${perPixel} samples per pixel where ${used} are needed`);
  if (photometric === 3 && format !== 1) throw new Error('its palette is indexed by floats');
  if ((photometric === 0 || photometric === 3) && depth > 16)
    throw new Error(`${depth}-bit samples of kind ${photometric}`);
  return {
    channels: colour || photometric === 3 ? 3 : 1,
    perPixel,
    extra: perPixel - used,
    bits: depth,
    samples: format === 1 ? 'unsigned' : 'float',
  };
}

function alphaOf(tags: TiffTags, extra: number): 'none' | 'separate' | 'premultiplied' {
  if (extra === 0) return 'none';
  const kinds = tags.numbers.get(TIFF_TAG.ExtraSamples);
  if (kinds === undefined || kinds.length !== extra || extra > 1) {
    throw new Error(`it has ${extra} samples per pixel beyond the colours and does not say what they are`);
  }
  return kinds[0] === 1 ? 'premultiplied' : 'separate';
}

/** Refuses a file whose strips or tiles are missing or lead out of it, before a decoder fills them in with zeros. */
function checkExtent(tags: TiffTags, sizeBytes: number, perPixel: number): void {
  const width = needed(tags, TIFF_TAG.ImageWidth, 'width');
  const height = needed(tags, TIFF_TAG.ImageLength, 'height');
  const tileWidth = one(tags, TIFF_TAG.TileWidth);
  const tileHeight = one(tags, TIFF_TAG.TileLength);
  const tiled = tileWidth !== undefined && tileHeight !== undefined;
  // Some writers list tiles under the strips' tags; libtiff reads them.
  const list = (tile: number, strip: number): readonly number[] =>
    (tiled ? tags.numbers.get(tile) : undefined) ?? tags.numbers.get(strip) ?? [];
  const offsets = list(TIFF_TAG.TileOffsets, TIFF_TAG.StripOffsets);
  const lengths = list(TIFF_TAG.TileByteCounts, TIFF_TAG.StripByteCounts);
  const rows = Math.max(1, Math.min(one(tags, TIFF_TAG.RowsPerStrip) ?? height, height));
  const inPlane = tiled ? Math.ceil(width / tileWidth) * Math.ceil(height / tileHeight) : Math.ceil(height / rows);
  const expected = inPlane * (one(tags, TIFF_TAG.PlanarConfiguration) === 2 ? perPixel : 1);
  if (offsets.length < expected || lengths.length < expected) {
    throw new Error(`it lists ${Math.min(offsets.length, lengths.length)} of its ${expected} strips or tiles`);
  }
  for (let i = 0; i < expected; i++) {
    if (lengths[i] === 0 || offsets[i]! + lengths[i]! > sizeBytes) {
      throw new Error(`it is cut short: strip or tile ${i + 1} of ${expected} is missing or ends beyond the file`);
    }
  }
}

function notesOf(tags: TiffTags, alpha: string): string[] {
  const notes: string[] = [];
  if (tags.pages > 1) notes.push(`The file has ${tags.pages} pages; the first one is used.`);
  if (alpha === 'separate') notes.push('The alpha channel is dropped.');
  if (alpha === 'premultiplied') notes.push('Colours are divided by the alpha channel that they are multiplied with.');
  return notes;
}

function one(tags: TiffTags, tag: number): number | undefined {
  return tags.numbers.get(tag)?.[0];
}

function needed(tags: TiffTags, tag: number, name: string): number {
  const value = one(tags, tag);
  if (value === undefined || value < 1) throw new Error(`its ${name} is missing or zero`);
  return value;
}
