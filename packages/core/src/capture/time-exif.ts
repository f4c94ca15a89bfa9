import {
  bytesInMemory,
  type OpenFile,
  openTiff,
  readDirectory,
  readValue,
  type TiffSource,
  type TiffTagEntry,
} from './tiff-tags.js';
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
  const { buffer, bytesRead } = await file.read(Buffer.alloc(4), 0, 4, 0);
  if (!SIGNATURES.has(buffer.toString('hex', 0, bytesRead))) throw new Error('it does not begin as a TIFF does');
  const { source, first } = await openTiff(file, sizeBytes);
  const main = await readWanted(source, first);
  const inner = await readInner(source, main.get(TAG.ExifIfd));
  const text = (tag: number): string | undefined => textOf(inner.get(tag) ?? main.get(tag));
  const number = (tag: number): number | undefined => numberOf(source, inner.get(tag) ?? main.get(tag));
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
    xmp: main.get(TAG.Xmp)?.bytes.toString('utf8'),
  };
}

/** Of TIFF and BigTIFF, in either byte order. */
const SIGNATURES: ReadonlySet<string> = new Set(['49492a00', '4d4d002a', '49492b00', '4d4d002b']);

const TAG = {
  DateTime: 306,
  Xmp: 700,
  ExposureTime: 33434,
  ExifIfd: 34665,
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
/** Longest value that is read, in bytes: dates take 20, a packet some thousands. */
const MOST_BYTES = 64;
const MOST_XMP_BYTES = 1 << 20;

/** Field types: unsigned of 2 and 4 bytes, fractions, and texts, those of Exif 3.0 in UTF-8 included. */
const TYPE = { ascii: 2, short: 3, long: 4, rational: 5, signedRational: 10, ifd: 13, utf8: 129 } as const;
/** Unsigned of 8 bytes, as BigTIFF has them. */
const LONG8: ReadonlySet<number> = new Set([16, 18]);

interface Value {
  readonly type: number;
  readonly bytes: Buffer;
}

async function readInner(source: TiffSource, pointer: Value | undefined): Promise<Map<number, Value>> {
  const offset = numberOf(source, pointer);
  // A broken Exif directory leaves what the first one says.
  return offset === undefined ? new Map() : readWanted(source, offset).catch(() => new Map());
}

async function readWanted(source: TiffSource, offset: number): Promise<Map<number, Value>> {
  const { entries } = await readDirectory(source, offset);
  const found = new Map<number, Value>();
  for (const entry of entries) {
    const most = entry.tag === TAG.Xmp ? MOST_XMP_BYTES : MOST_BYTES;
    if (!WANTED.has(entry.tag) || found.has(entry.tag) || entry.count > most) continue;
    const bytes = await readBytes(source, entry);
    if (bytes !== undefined && bytes.length <= most) found.set(entry.tag, { type: entry.type, bytes });
  }
  return found;
}

/** A value that leads out of the file, or is of no known type, counts as not given. */
function readBytes(source: TiffSource, entry: TiffTagEntry): Promise<Buffer | undefined> {
  const type = entry.type === TYPE.utf8 ? TYPE.ascii : entry.type;
  return readValue(source, { ...entry, type }).catch(() => undefined);
}

function textOf(value: Value | undefined): string | undefined {
  if (value === undefined || (value.type !== TYPE.ascii && value.type !== TYPE.utf8)) return undefined;
  return value.bytes.toString('latin1').split('\0')[0];
}

function numberOf({ little }: TiffSource, value: Value | undefined): number | undefined {
  if (value === undefined) return undefined;
  const { type, bytes } = value;
  if (type === TYPE.short && bytes.length >= 2) return little ? bytes.readUInt16LE(0) : bytes.readUInt16BE(0);
  const long = (at: number): number => (little ? bytes.readUInt32LE(at) : bytes.readUInt32BE(at));
  if ((type === TYPE.long || type === TYPE.ifd) && bytes.length >= 4) return long(0);
  if (LONG8.has(type)) return Number(little ? bytes.readBigUInt64LE(0) : bytes.readBigUInt64BE(0));
  if ((type !== TYPE.rational && type !== TYPE.signedRational) || bytes.length < 8) return undefined;
  const quotient = long(0) / long(4);
  return Number.isFinite(quotient) ? quotient : undefined;
}
