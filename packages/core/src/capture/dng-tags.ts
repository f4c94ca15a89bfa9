import { asFile, type ByteSource } from './byte-source.js';
import { openTiff, readDirectory, readValue, type TiffSource, type TiffTagEntry } from './tiff-tags.js';

/** Numbers of the tags that are used, by tag: Adobe DNG specification 1.7.1, TIFF 6.0, TIFF/EP. */
export type DngTags = ReadonlyMap<number, readonly number[]>;

/** Tag numbers, by the names of the DNG specification. */
export const DNG_TAG = {
  NewSubfileType: 254,
  ImageWidth: 256,
  ImageLength: 257,
  BitsPerSample: 258,
  Compression: 259,
  Photometric: 262,
  StripOffsets: 273,
  Orientation: 274,
  SamplesPerPixel: 277,
  RowsPerStrip: 278,
  StripByteCounts: 279,
  PlanarConfiguration: 284,
  TileWidth: 322,
  TileLength: 323,
  TileOffsets: 324,
  TileByteCounts: 325,
  SubIfds: 330,
  SampleFormat: 339,
  CfaRepeatPatternDim: 33421,
  CfaPattern: 33422,
  DngVersion: 50706,
  CfaPlaneColor: 50710,
  CfaLayout: 50711,
  LinearizationTable: 50712,
  BlackLevelRepeatDim: 50713,
  BlackLevel: 50714,
  BlackLevelDeltaH: 50715,
  BlackLevelDeltaV: 50716,
  WhiteLevel: 50717,
  DefaultCropOrigin: 50719,
  DefaultCropSize: 50720,
  ColorMatrix1: 50721,
  ColorMatrix2: 50722,
  CameraCalibration1: 50723,
  CameraCalibration2: 50724,
  AnalogBalance: 50727,
  AsShotNeutral: 50728,
  AsShotWhiteXy: 50729,
  CalibrationIlluminant1: 50778,
  CalibrationIlluminant2: 50779,
  ActiveArea: 50829,
  OpcodeList2: 51009,
  OpcodeList3: 51022,
} as const;

const WANTED: ReadonlySet<number> = new Set(Object.values(DNG_TAG));
/** Directories below the first that are looked at. */
const MOST_BELOW = 32;
/** Longest value that is read: two lists of offsets and lengths of a million tiles would be that long. */
const MOST_VALUE_BYTES = 2 ** 23;

/**
 * The tags of a DNG's first directory, and those of the directory that holds the sensor's data. Throws a plain `Error`
 * when there is none, or a directory is damaged.
 */
export async function readDngTags(source: ByteSource): Promise<{ readonly main: DngTags; readonly raw: DngTags }> {
  const { source: tiff, first } = await openTiff(asFile(source), source.sizeBytes);
  const main = await tagsAt(tiff, first);
  const below = (main.get(DNG_TAG.SubIfds) ?? []).slice(0, MOST_BELOW);
  const all = [main];
  for (const offset of below) all.push(await tagsAt(tiff, offset));
  const raw = all
    .filter(
      (tags) => SENSOR.has(numberIn(tags, DNG_TAG.Photometric, -1)) && numberIn(tags, DNG_TAG.NewSubfileType, 0) === 0,
    )
    .sort((a, b) => numberIn(b, DNG_TAG.ImageWidth, 0) - numberIn(a, DNG_TAG.ImageWidth, 0))[0];
  if (raw === undefined) throw new Error('it holds no data of a sensor');
  return { main, raw };
}

/** The first number of a tag, or what counts where it is missing. */
export function numberIn(tags: DngTags, tag: number, missing: number): number {
  return tags.get(tag)?.[0] ?? missing;
}

/** Photometric interpretations of a sensor's data: a mosaic of colour filters, and linear pixels. */
const SENSOR: ReadonlySet<number> = new Set([32803, 34892]);

async function tagsAt(source: TiffSource, offset: number): Promise<DngTags> {
  const { entries } = await readDirectory(source, offset);
  const tags = new Map<number, readonly number[]>();
  for (const entry of entries) {
    if (!WANTED.has(entry.tag) || entry.count * 8 > MOST_VALUE_BYTES) continue;
    tags.set(entry.tag, numbersOf(source, entry, await readValue(source, entry)));
  }
  return tags;
}

/** TIFF 6.0, section 2: the types of numbers. */
function numbersOf({ little }: TiffSource, { type, count }: TiffTagEntry, bytes: Buffer): number[] {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const read: Readonly<Record<number, (at: number) => number>> = {
    1: (i) => view.getUint8(i),
    3: (i) => view.getUint16(2 * i, little),
    4: (i) => view.getUint32(4 * i, little),
    5: (i) => view.getUint32(8 * i, little) / view.getUint32(8 * i + 4, little),
    6: (i) => view.getInt8(i),
    7: (i) => view.getUint8(i),
    8: (i) => view.getInt16(2 * i, little),
    9: (i) => view.getInt32(4 * i, little),
    10: (i) => view.getInt32(8 * i, little) / view.getInt32(8 * i + 4, little),
    11: (i) => view.getFloat32(4 * i, little),
    12: (i) => view.getFloat64(8 * i, little),
    13: (i) => view.getUint32(4 * i, little),
    16: (i) => Number(view.getBigUint64(8 * i, little)),
    18: (i) => Number(view.getBigUint64(8 * i, little)),
  };
  const number = read[type];
  return number === undefined ? [] : Array.from({ length: count }, (_, i) => number(i));
}
