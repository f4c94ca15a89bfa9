/** Where bytes are read from: an open file, or {@link bytesInMemory}. */
export interface OpenFile {
  read(
    buffer: Buffer,
    offset: number,
    length: number,
    position: number,
  ): Promise<{ readonly buffer: Buffer; readonly bytesRead: number }>;
}

/** A block of bytes, such as the Exif block of a JPEG, read as if it were a file. */
export function bytesInMemory(bytes: Buffer): OpenFile {
  return {
    read: async (buffer, offset, length, position) => ({
      buffer,
      bytesRead: bytes.copy(buffer, offset, position, position + length),
    }),
  };
}

/** The tags of a TIFF's first directory that decide how its samples are read. TIFF 6.0; BigTIFF. */
export interface TiffTags {
  /** Value of a numeric tag, or `undefined`. */
  readonly numbers: ReadonlyMap<number, readonly number[]>;
  /** Bytes of the embedded ICC profile (tag 34675), or `undefined`. */
  readonly icc: Buffer | undefined;
  /** Number of pictures in the main chain; those that are marked as smaller copies of another, as in a pyramid, do not count. */
  readonly pages: number;
}

/** Tag numbers, by the names of TIFF 6.0 and its supplements. */
export const TIFF_TAG = {
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
  ExtraSamples: 338,
  SampleFormat: 339,
  IccProfile: 34675,
  DngVersion: 50706,
} as const;

const WANTED: ReadonlySet<number> = new Set(Object.values(TIFF_TAG));
const TYPE_BYTES: readonly number[] = [0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8, 4, 0, 0, 8, 8, 8];
const MOST_ENTRIES = 4096;
const MOST_PAGES = 65536;

/**
 * Reads the first directory and counts the pictures in the others. Throws a plain `Error` that says what is wrong when an offset leads
 * out of the file or a directory is implausible; the caller adds the file's name.
 */
export async function readTiffTags(file: OpenFile, sizeBytes: number): Promise<TiffTags> {
  const { source, first } = await openTiff(file, sizeBytes);
  const { entries, next } = await readDirectory(source, first);
  const numbers = new Map<number, readonly number[]>();
  let icc: Buffer | undefined;
  for (const entry of entries) {
    if (!WANTED.has(entry.tag)) continue;
    const value = await readValue(source, entry);
    if (entry.tag === TIFF_TAG.IccProfile) icc = value;
    else numbers.set(entry.tag, toNumbers(source, entry, value));
  }
  return { numbers, icc, pages: await countPages(source, first, next) };
}

/** Reads the header: byte order, kind, and where the first directory lies. */
export async function openTiff(file: OpenFile, sizeBytes: number): Promise<{ source: TiffSource; first: number }> {
  const header = await readAt(file, sizeBytes, 0, 8);
  const little = header[0] === 0x49;
  const big = (little ? header.readUInt16LE(2) : header.readUInt16BE(2)) === 43;
  const source: TiffSource = { file, sizeBytes, little, big };
  const first = big ? unsigned(source, await readAt(file, sizeBytes, 8, 8), 0, 8) : unsigned(source, header, 4, 4);
  return { source, first };
}

/** An open TIFF, or a block laid out as one. */
export interface TiffSource {
  readonly file: OpenFile;
  readonly sizeBytes: number;
  readonly little: boolean;
  readonly big: boolean;
}

/** An entry of a directory. */
export interface TiffTagEntry {
  readonly tag: number;
  readonly type: number;
  readonly count: number;
  /** The entry's value field: the value itself, or where it lies. */
  readonly field: Buffer;
}

/** The entries of the directory at an offset, and the offset of the next one, or 0. */
export async function readDirectory(
  source: TiffSource,
  offset: number,
): Promise<{ entries: TiffTagEntry[]; next: number }> {
  const { file, sizeBytes, big } = source;
  const countBytes = big ? 8 : 2;
  const entryBytes = big ? 20 : 12;
  const offsetBytes = big ? 8 : 4;
  const count = unsigned(source, await readAt(file, sizeBytes, offset, countBytes), 0, countBytes);
  if (count === 0 || count > MOST_ENTRIES) throw new Error(`a directory announces ${count} tags`);
  const body = await readAt(file, sizeBytes, offset + countBytes, count * entryBytes + offsetBytes);
  const entries: TiffTagEntry[] = [];
  for (let i = 0; i < count; i++) {
    const at = i * entryBytes;
    entries.push({
      tag: unsigned(source, body, at, 2),
      type: unsigned(source, body, at + 2, 2),
      count: unsigned(source, body, at + 4, offsetBytes),
      field: body.subarray(at + 4 + offsetBytes, at + entryBytes),
    });
  }
  return { entries, next: unsigned(source, body, count * entryBytes, offsetBytes) };
}

/** The bytes of an entry's value, in the byte order of the source. */
export async function readValue(source: TiffSource, entry: TiffTagEntry): Promise<Buffer> {
  const length = (TYPE_BYTES[entry.type] ?? 0) * entry.count;
  if (length === 0) throw new Error(`tag ${entry.tag} has no readable value (type ${entry.type})`);
  if (length <= entry.field.length) return entry.field.subarray(0, length);
  return readAt(source.file, source.sizeBytes, unsigned(source, entry.field, 0, entry.field.length), length);
}

function toNumbers(source: TiffSource, entry: TiffTagEntry, value: Buffer): number[] {
  const step = TYPE_BYTES[entry.type]!;
  return Array.from({ length: entry.count }, (_, i) => unsigned(source, value, i * step, step));
}

async function countPages(source: TiffSource, first: number, second: number): Promise<number> {
  const seen = new Set([first]);
  let pages = 1;
  for (let next = second; next !== 0 && !seen.has(next) && seen.size < MOST_PAGES; ) {
    seen.add(next);
    const directory = await readDirectory(source, next).catch(() => undefined);
    if (!directory || !(await isReduced(source, directory.entries))) pages++;
    next = directory?.next ?? 0;
  }
  return pages;
}

/** Whether a picture is a smaller copy of another: bit 0 of NewSubfileType. */
async function isReduced(source: TiffSource, entries: readonly TiffTagEntry[]): Promise<boolean> {
  const entry = entries.find(({ tag }) => tag === TIFF_TAG.NewSubfileType);
  const value = entry && (await readValue(source, entry).catch(() => undefined));
  return value !== undefined && toNumbers(source, entry!, value)[0]! % 2 === 1;
}

function unsigned({ little }: TiffSource, buffer: Buffer, at: number, bytes: number): number {
  if (bytes === 8) return Number(little ? buffer.readBigUInt64LE(at) : buffer.readBigUInt64BE(at));
  return little ? buffer.readUIntLE(at, bytes) : buffer.readUIntBE(at, bytes);
}

async function readAt(file: OpenFile, sizeBytes: number, offset: number, length: number): Promise<Buffer> {
  if (offset + length > sizeBytes) {
    throw new Error(`it is cut short: bytes ${offset} to ${offset + length} are needed, the file has ${sizeBytes}`);
  }
  const { buffer, bytesRead } = await file.read(Buffer.alloc(length), 0, length, offset);
  if (bytesRead !== length) throw new Error('it became shorter while being read');
  return buffer;
}
