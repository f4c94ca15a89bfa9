import { createWriteStream } from 'node:fs';
import { Readable } from 'node:stream';
import { pipeline } from 'node:stream/promises';
import { createDeflate, deflateSync } from 'node:zlib';
import { throwIfAborted } from '../job/errors.js';
import { writeWhole } from './atomic.js';
import type { ClipCount } from './encode.js';
import { type MasterColour, profileOf, SRGB_COLOUR } from './master-colour.js';
import { bandsOf, type PlateSource } from './plate-source.js';
import { encodeCodes } from './tiff.js';

export interface PlatePngOptions {
  /** Default: sRGB. The samples must be of its primaries already. */
  readonly colour?: MasterColour;
  /** Replace an existing file. Default false. */
  readonly force?: boolean;
  readonly signal?: AbortSignal;
}

/** Samples of a pixel: red, green, blue, alpha. */
const SAMPLES = 4;
const SIGNATURE = Buffer.from([0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a]);
/** Filter of every row: differences to the pixel on the left. */
const SUB = 1;

/**
 * Writes a plate as PNG: 16-bit RGBA, alpha not multiplied in, a profile embedded. Reads the plate once, in bands. The file
 * appears whole or not at all, and the same pixels give the same bytes. ISO/IEC 15948:2004. Throws what
 * {@link writeWhole} throws, and `InterruptedError` on abort.
 */
export async function writePlatePng(path: string, source: PlateSource, options: PlatePngOptions = {}): Promise<void> {
  const { colour = SRGB_COLOUR, force = false, signal } = options;
  await writeWhole(
    path,
    (temporary) =>
      pipeline(
        Readable.from(rowsOf(source, colour, signal), { objectMode: false }),
        createDeflate({ level: 6, chunkSize: 1 << 18 }),
        (packed: AsyncIterable<Buffer>) => chunksOf(source, colour, packed),
        createWriteStream(temporary, { flags: 'wx' }),
      ),
    { force },
  );
}

/** Filtered rows, a band at a time. */
function* rowsOf(source: PlateSource, colour: MasterColour, signal: AbortSignal | undefined): Generator<Buffer> {
  const { width } = source;
  const clips: ClipCount = { low: 0, high: 0 };
  const rowBytes = width * SAMPLES * 2;
  for (const band of bandsOf(source)) {
    throwIfAborted(signal);
    const out = Buffer.alloc(band.image.height * (1 + rowBytes));
    for (let y = 0; y < band.image.height; y++) {
      const codes = new Uint16Array(width * SAMPLES);
      encodeCodes(codes, band, y * width, colour, clips);
      const at = y * (1 + rowBytes);
      out[at] = SUB;
      const row = Buffer.from(codes.buffer).swap16();
      for (let i = 0; i < rowBytes; i++) out[at + 1 + i] = row[i]! - (i >= SAMPLES * 2 ? row[i - SAMPLES * 2]! : 0);
    }
    yield out;
  }
}

async function* chunksOf(
  { width, height }: PlateSource,
  colour: MasterColour,
  packed: AsyncIterable<Buffer>,
): AsyncGenerator<Buffer> {
  const size = Buffer.alloc(13);
  size.writeUInt32BE(width, 0);
  size.writeUInt32BE(height, 4);
  size.set([16, 6, 0, 0, 0], 8);
  yield SIGNATURE;
  yield chunk('IHDR', size);
  yield chunk('iCCP', Buffer.concat([Buffer.from('plate\0\0', 'latin1'), deflateSync(profileOf(colour))]));
  for await (const part of packed) yield chunk('IDAT', part);
  yield chunk('IEND', Buffer.alloc(0));
}

function chunk(type: string, data: Buffer): Buffer {
  const head = Buffer.alloc(4);
  head.writeUInt32BE(data.length, 0);
  const body = Buffer.concat([Buffer.from(type, 'latin1'), data]);
  const check = Buffer.alloc(4);
  check.writeUInt32BE(crc32(body), 0);
  return Buffer.concat([head, body, check]);
}

const TABLE = Uint32Array.from({ length: 256 }, (_, n) => {
  let c = n;
  for (let k = 0; k < 8; k++) c = c & 1 ? 0xedb88320 ^ (c >>> 1) : c >>> 1;
  return c;
});

/** ISO/IEC 15948:2004, annex D. Node's own is not in every version that is supported. */
function crc32(data: Buffer): number {
  let c = 0xffffffff;
  for (const byte of data) c = TABLE[(c ^ byte) & 255]! ^ (c >>> 8);
  return (c ^ 0xffffffff) >>> 0;
}
