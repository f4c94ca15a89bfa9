import { type FileHandle, open } from 'node:fs/promises';
import { chromaticitiesOf } from '../capture/primaries.js';
import { writeWhole } from './atomic.js';
import { type ExrSamples, exrHeader, LINES, offsetTableBytes } from './exr-layout.js';
import { halfBits } from './half.js';
import type { MasterPrimaries } from './master-colour.js';
import { orderedDeflate } from './ordered-deflate.js';
import { bandsOf, type PlateSource, type PlateWindow } from './plate-source.js';

export interface PlateExrOptions {
  /** Default `half`. */
  readonly samples?: ExrSamples;
  /** What the samples' primaries are. Default `bt709`. */
  readonly primaries?: MasterPrimaries;
  /** Replace an existing file. Default false. */
  readonly force?: boolean;
  readonly signal?: AbortSignal;
}

/** What was written. */
export interface PlateExrResult {
  /** Size of the file. */
  readonly bytes: number;
}

/** Planes in the order of their names: A, B, G, R. */
const CHANNELS = 4;

/**
 * Writes the plate as OpenEXR: linear light, RGBA, colours multiplied with the coverage, which is the alpha; scan lines,
 * ZIP in blocks of 16; chromaticities stated. A grey picture is written to all three colours. Nothing is clipped, but for
 * halves at 65504. Reads the plate once, some rows at a time. The file appears whole or not at all, and the same pixels
 * give the same bytes. OpenEXR File Layout, version 2. Throws what {@link writeWhole} throws, and `InterruptedError` on
 * abort.
 */
export async function writePlateExr(
  path: string,
  source: PlateSource,
  options: PlateExrOptions = {},
): Promise<PlateExrResult> {
  let bytes = 0;
  await writeWhole(
    path,
    async (temporary) => {
      const file = await open(temporary, 'wx');
      try {
        bytes = await writeBlocks(file, source, options);
      } finally {
        await file.close();
      }
    },
    { force: options.force ?? false },
  );
  return { bytes };
}

async function writeBlocks(
  file: FileHandle,
  source: PlateSource,
  { samples = 'half', primaries = 'bt709', signal }: PlateExrOptions,
): Promise<number> {
  const header = exrHeader(source, samples, chromaticitiesOf(primaries));
  const table = Buffer.alloc(offsetTableBytes(source.height));
  let end = header.length + table.length;
  let blocks = 0;
  const queue = orderedDeflate<{ readonly y: number; readonly plain: Buffer }>(async (packed, { y, plain }) => {
    // A block that does not get smaller is stored as it was before it was prepared.
    const data = packed.length < plain.length ? packed : plain;
    const head = Buffer.alloc(8);
    head.writeInt32LE(y, 0);
    head.writeInt32LE(data.length, 4);
    await file.writev([head, data], end);
    table.writeBigUInt64LE(BigInt(end), 8 * blocks++);
    end += head.length + data.length;
  }, signal);
  for (const band of bandsOf(source, LINES)) {
    for (let row = 0; row < band.image.height; row += LINES) {
      const plain = linesOf(band, row, Math.min(LINES, band.image.height - row), samples);
      await queue.push(prepared(plain), { y: band.y0 + row, plain });
    }
  }
  await queue.finish();
  await file.write(Buffer.concat([header, table]), 0, header.length + table.length, 0);
  return end;
}

/** Rows one after the other, in each the samples of A, then of B, G and R. */
function linesOf({ image, coverage }: PlateWindow, first: number, rows: number, samples: ExrSamples): Buffer {
  const { width, planes } = image;
  const alpha = coverage.data;
  const floats = new Float32Array(CHANNELS * width * rows);
  const colours = [2, 1, 0].map((c) => planes[planes.length === 1 ? 0 : c]!);
  for (let y = 0; y < rows; y++) {
    const from = (first + y) * width;
    const to = y * CHANNELS * width;
    floats.set(alpha.subarray(from, from + width), to);
    colours.forEach((plane, k) => {
      const start = to + (k + 1) * width;
      for (let x = 0; x < width; x++) floats[start + x] = plane[from + x]! * alpha[from + x]!;
    });
  }
  if (samples === 'float') return Buffer.from(floats.buffer);
  const halves = new Uint16Array(floats.length);
  for (let i = 0; i < floats.length; i++) halves[i] = halfBits(floats[i]!);
  return Buffer.from(halves.buffer);
}

/** What is compressed: first every other byte, then the rest, as differences about 128. */
function prepared(plain: Buffer): Buffer {
  const { length } = plain;
  const out = Buffer.allocUnsafe(length);
  const second = (length + 1) >> 1;
  let last = 0;
  for (let i = 0, to = 0; i < length; i += 2, to++) {
    const byte = plain[i]!;
    out[to] = byte - last + 128;
    last = byte;
  }
  for (let i = 1, to = second; i < length; i += 2, to++) {
    const byte = plain[i]!;
    out[to] = byte - last + 128;
    last = byte;
  }
  out[0] = plain[0]!;
  return out;
}
