import { readExifValues } from './exif-values.js';
import { bytesInMemory, type OpenFile } from './tiff-tags.js';
import { type ClockStamp, parseExifStamp } from './time-text.js';

/** What a camera wrote of an exposure, in Exif 3.0 (CIPA DC-008) or TIFF/EP; each part `undefined` when it did not. */
export interface ExifFacts {
  /** When the exposure began: tags 36867, 37521, 36881; else, of a scan, when it was made: 36868, 37522, 36882. */
  readonly taken: ClockStamp | undefined;
  /** When the file was last changed: tags 306, 37520, 36880. Straight from a camera it is the time of the exposure. */
  readonly changed: ClockStamp | undefined;
  readonly exposureS: number | undefined;
  /** Sensitivity, tag 34855, or 34867 where that cannot hold it. */
  readonly iso: number | undefined;
  /** An XMP packet, tag 700. */
  readonly xmp: string | undefined;
}

/** Facts from an Exif block as it lies in a JPEG or PNG, with or without `Exif\0\0` before it. Errors as in {@link readTiffExif}. */
export function readExifBlock(block: Buffer): Promise<ExifFacts> {
  const bare = block.subarray(block.toString('latin1', 0, 6) === 'Exif\0\0' ? 6 : 0);
  return readTiffExif(bytesInMemory(bare), bare.length);
}

/**
 * Facts from the first directory of a TIFF, DNG or Exif block and from the Exif directory that it leads to; of every
 * other tag nothing is read. Throws a plain `Error` that says what is wrong when the first directory cannot be read.
 */
export async function readTiffExif(file: OpenFile, sizeBytes: number): Promise<ExifFacts> {
  const { text, number, bytes } = await readExifValues(file, sizeBytes, WANTED);
  const stamp = (date: number, decimals: number, offset: number): ClockStamp | undefined =>
    parseExifStamp(text(date) ?? '', text(decimals), text(offset));
  const exposureS = number(TAG.ExposureTime);
  const sensitivity = number(TAG.Sensitivity);
  const iso = sensitivity === 65535 ? number(TAG.IsoSpeed) : sensitivity;
  return {
    taken:
      stamp(TAG.DateTimeOriginal, TAG.SubSecTimeOriginal, TAG.OffsetTimeOriginal) ??
      stamp(TAG.DateTimeDigitized, TAG.SubSecTimeDigitized, TAG.OffsetTimeDigitized),
    changed: stamp(TAG.DateTime, TAG.SubSecTime, TAG.OffsetTime),
    exposureS: exposureS !== undefined && exposureS > 0 ? exposureS : undefined,
    iso: iso !== undefined && iso > 0 ? iso : undefined,
    xmp: bytes(TAG.Xmp)?.toString('utf8'),
  };
}

const TAG = {
  DateTime: 306,
  Xmp: 700,
  ExposureTime: 33434,
  Sensitivity: 34855,
  IsoSpeed: 34867,
  DateTimeOriginal: 36867,
  DateTimeDigitized: 36868,
  OffsetTime: 36880,
  OffsetTimeOriginal: 36881,
  OffsetTimeDigitized: 36882,
  SubSecTime: 37520,
  SubSecTimeOriginal: 37521,
  SubSecTimeDigitized: 37522,
} as const;

const WANTED: ReadonlySet<number> = new Set(Object.values(TAG));
