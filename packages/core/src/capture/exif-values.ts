import { type OpenFile, openTiff, readDirectory, readValue, type TiffSource, type TiffTagEntry } from './tiff-tags.js';

/** Some tags of a TIFF, DNG or Exif block: those of its first directory, and of the directories for Exif and GPS that it leads to. */
export interface ExifValues {
  /** Text of a tag, the Exif directory first. */
  text(tag: number): string | undefined;
  /** Its first number. */
  number(tag: number): number | undefined;
  /** Bytes of a tag of the first directory. */
  bytes(tag: number): Buffer | undefined;
  /** Text and numbers of a tag of the GPS directory, which has numbers of its own. */
  gpsText(tag: number): string | undefined;
  gpsNumbers(tag: number): readonly number[];
}

/**
 * Reads `wanted` tags of Exif 3.0 (CIPA DC-008) or TIFF/EP; of every other tag nothing is read. Broken inner directories
 * leave what the first one says. Throws a plain `Error` that says what is wrong when the first directory cannot be read.
 */
export async function readExifValues(
  file: OpenFile,
  sizeBytes: number,
  wanted: ReadonlySet<number>,
): Promise<ExifValues> {
  const { buffer, bytesRead } = await file.read(Buffer.alloc(4), 0, 4, 0);
  if (!SIGNATURES.has(buffer.toString('hex', 0, bytesRead))) throw new Error('it does not begin as a TIFF does');
  const { source, first } = await openTiff(file, sizeBytes);
  const main = await readWanted(source, first, (tag) => wanted.has(tag) || tag === EXIF_IFD);
  const inner = await readInner(source, main.get(EXIF_IFD), (tag) => wanted.has(tag));
  const gps = await readInner(source, wanted.has(GPS_IFD) ? main.get(GPS_IFD) : undefined, () => true);
  return {
    text: (tag) => textOf(inner.get(tag) ?? main.get(tag)),
    number: (tag) => numbersOf(source, inner.get(tag) ?? main.get(tag))[0],
    bytes: (tag) => main.get(tag)?.bytes,
    gpsText: (tag) => textOf(gps.get(tag)),
    gpsNumbers: (tag) => numbersOf(source, gps.get(tag)),
  };
}

const EXIF_IFD = 34665;
/** Where the directory for GPS lies: it is read where this is wanted. */
export const GPS_IFD = 34853;
const XMP = 700;

/** Of TIFF and BigTIFF, in either byte order. */
const SIGNATURES: ReadonlySet<string> = new Set(['49492a00', '4d4d002a', '49492b00', '4d4d002b']);

/** Longest value that is read, in bytes: dates take 20, a packet some thousands. */
const MOST_BYTES = 128;
const MOST_XMP_BYTES = 1 << 20;

/** Field types: unsigned bytes, unsigned of 2 and 4 bytes, fractions, and texts, those of Exif 3.0 in UTF-8 included. */
const TYPE = { byte: 1, ascii: 2, short: 3, long: 4, rational: 5, signedRational: 10, ifd: 13, utf8: 129 } as const;
/** Unsigned of 8 bytes, as BigTIFF has them. */
const LONG8: ReadonlySet<number> = new Set([16, 18]);

interface Value {
  readonly type: number;
  readonly bytes: Buffer;
}

async function readInner(
  source: TiffSource,
  pointer: Value | undefined,
  isWanted: (tag: number) => boolean,
): Promise<Map<number, Value>> {
  const offset = numbersOf(source, pointer)[0];
  return offset === undefined ? new Map() : readWanted(source, offset, isWanted).catch(() => new Map());
}

async function readWanted(
  source: TiffSource,
  offset: number,
  isWanted: (tag: number) => boolean,
): Promise<Map<number, Value>> {
  const { entries } = await readDirectory(source, offset);
  const found = new Map<number, Value>();
  for (const entry of entries) {
    const most = entry.tag === XMP ? MOST_XMP_BYTES : MOST_BYTES;
    if (!isWanted(entry.tag) || found.has(entry.tag) || entry.count > most) continue;
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

/** Whole numbers and fractions; a fraction without a value ends them. */
function numbersOf({ little }: TiffSource, value: Value | undefined): number[] {
  if (value === undefined) return [];
  const { type, bytes } = value;
  const long = (at: number): number => (little ? bytes.readUInt32LE(at) : bytes.readUInt32BE(at));
  const all = (size: number, read: (at: number) => number): number[] => {
    const values = Array.from({ length: Math.floor(bytes.length / size) }, (_, i) => read(i * size));
    const broken = values.findIndex((one) => !Number.isFinite(one));
    return broken < 0 ? values : values.slice(0, broken);
  };
  if (type === TYPE.byte) return [...bytes];
  if (type === TYPE.short) return all(2, (at) => (little ? bytes.readUInt16LE(at) : bytes.readUInt16BE(at)));
  if (type === TYPE.long || type === TYPE.ifd) return all(4, long);
  if (LONG8.has(type)) return all(8, (at) => Number(little ? bytes.readBigUInt64LE(at) : bytes.readBigUInt64BE(at)));
  if (type === TYPE.rational || type === TYPE.signedRational) return all(8, (at) => long(at) / long(at + 4));
  return [];
}
