import type { FileHandle } from 'node:fs/promises';

/** What a PNG's chunks before the pixels say of its samples. PNG specification, third edition. */
export interface PngHeader {
  readonly bitDepth: number;
  /** 0 grey, 2 RGB, 3 palette, 4 grey and alpha, 6 RGB and alpha. */
  readonly colourType: number;
  readonly hasTransparency: boolean;
  readonly animated: boolean;
  /** cICP: colour primaries, transfer characteristics, matrix, full range (ITU-T H.273), or `undefined`. */
  readonly cicp: readonly number[] | undefined;
  readonly hasSrgb: boolean;
  /** gAMA: the exponent from light to code, 0.45455 for a plain display file, 1 for linear light; or `undefined`. */
  readonly gamma: number | undefined;
  /** tIME: year, month, day, hour, minute, second of the last change, in UTC; or `undefined`. */
  readonly changed: readonly number[] | undefined;
}

const MOST_CHUNKS = 4096;

/**
 * Walks the chunks up to the first IDAT and makes sure that the file has its end. Lengths are checked against the file;
 * CRCs are left to the decoder. Throws a plain `Error` that says what is wrong.
 */
export async function readPngHeader(file: FileHandle, sizeBytes: number): Promise<PngHeader> {
  const found = new Map<string, Buffer>();
  let at = 8;
  for (let i = 0; i < MOST_CHUNKS; i++) {
    const head = await read(file, sizeBytes, at, 8);
    const length = head.readUInt32BE(0);
    const type = head.toString('latin1', 4, 8);
    if (type === 'IDAT') {
      await requireEnd(file, sizeBytes, at);
      break;
    }
    found.set(type, SMALL.has(type) ? await read(file, sizeBytes, at + 8, Math.min(length, 32)) : EMPTY);
    at += 12 + length;
  }
  const ihdr = found.get('IHDR');
  if (ihdr === undefined || ihdr.length < 13) throw new Error('it has no IHDR chunk');
  const cicp = found.get('cICP');
  const gama = found.get('gAMA');
  const time = found.get('tIME');
  return {
    bitDepth: ihdr[8]!,
    colourType: ihdr[9]!,
    hasTransparency: found.has('tRNS'),
    animated: found.has('acTL'),
    cicp: cicp !== undefined && cicp.length >= 4 ? [...cicp.subarray(0, 4)] : undefined,
    hasSrgb: found.has('sRGB'),
    gamma: gama !== undefined && gama.length >= 4 ? gama.readUInt32BE(0) / 100000 : undefined,
    changed: time !== undefined && time.length === 7 ? [time.readUInt16BE(0), ...time.subarray(2)] : undefined,
  };
}

/** Length, type and CRC of the chunk that ends every PNG. */
const END = Buffer.from('0000000049454e44ae426082', 'hex');

/**
 * Throws a plain `Error` when the closing chunk is missing, as in a file that was copied in part. Looks at the last
 * bytes first and walks the chunks only when something follows the picture. `at` is where a chunk begins.
 */
async function requireEnd(file: FileHandle, sizeBytes: number, at: number): Promise<void> {
  const tail = await read(file, sizeBytes, sizeBytes - END.length, END.length);
  if (tail.equals(END)) return;
  for (let next = at; ; ) {
    if (next + END.length > sizeBytes) throw new Error('it is cut short: its last chunk is missing or incomplete');
    const head = await read(file, sizeBytes, next, 8);
    if (head.toString('latin1', 4, 8) === 'IEND') return;
    next += 12 + head.readUInt32BE(0);
  }
}

const SMALL: ReadonlySet<string> = new Set(['IHDR', 'cICP', 'gAMA', 'tIME']);
const EMPTY = Buffer.alloc(0);

async function read(file: FileHandle, sizeBytes: number, offset: number, length: number): Promise<Buffer> {
  if (offset + length > sizeBytes) throw new Error('it is cut short before the pixels');
  const { buffer, bytesRead } = await file.read(Buffer.alloc(length), 0, length, offset);
  if (bytesRead !== length) throw new Error('it became shorter while being read');
  return buffer;
}
