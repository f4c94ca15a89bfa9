import type { Chromaticities } from '../capture/primaries.js';

/** What a sample is: a 16-bit or a 32-bit float. */
export type ExrSamples = 'half' | 'float';

/** Scan lines of a block under ZIP compression. */
export const LINES = 16;

const MAGIC = 20000630;
/** Scan lines, one part, short names. */
const VERSION = 2;
const ZIP = 3;
const PIXEL_TYPES: Readonly<Record<ExrSamples, number>> = { half: 1, float: 2 };

/** Bytes of the table that tells where each block lies. */
export function offsetTableBytes(height: number): number {
  return 8 * Math.ceil(height / LINES);
}

/** Magic number, version and attributes of a file of scan lines with the channels A, B, G, R. */
export function exrHeader(
  { width, height }: { readonly width: number; readonly height: number },
  samples: ExrSamples,
  chromaticities: Chromaticities,
): Buffer {
  const start = Buffer.alloc(8);
  start.writeUInt32LE(MAGIC, 0);
  start.writeUInt32LE(VERSION, 4);
  const window = int32s([0, 0, width - 1, height - 1]);
  return Buffer.concat([
    start,
    attribute('channels', 'chlist', Buffer.concat([...['A', 'B', 'G', 'R'].map((c) => channel(c, samples)), ZERO])),
    attribute('chromaticities', 'chromaticities', float32s(chromaticities.flat())),
    attribute('compression', 'compression', Buffer.from([ZIP])),
    attribute('dataWindow', 'box2i', window),
    attribute('displayWindow', 'box2i', window),
    attribute('lineOrder', 'lineOrder', Buffer.from([0])),
    attribute('pixelAspectRatio', 'float', float32s([1])),
    attribute('screenWindowCenter', 'v2f', float32s([0, 0])),
    attribute('screenWindowWidth', 'float', float32s([1])),
    ZERO,
  ]);
}

const ZERO = Buffer.alloc(1);

/** Name, type, a flag that only lossy compression looks at, and a sample for each pixel in both directions. */
function channel(name: string, samples: ExrSamples): Buffer {
  return Buffer.concat([Buffer.from(`${name}\0`, 'latin1'), int32s([PIXEL_TYPES[samples], 0, 1, 1])]);
}

function attribute(name: string, type: string, value: Buffer): Buffer {
  return Buffer.concat([Buffer.from(`${name}\0${type}\0`, 'latin1'), int32s([value.length]), value]);
}

function int32s(values: readonly number[]): Buffer {
  const out = Buffer.alloc(4 * values.length);
  values.forEach((value, i) => {
    out.writeInt32LE(value, 4 * i);
  });
  return out;
}

function float32s(values: readonly number[]): Buffer {
  const out = Buffer.alloc(4 * values.length);
  values.forEach((value, i) => {
    out.writeFloatLE(value, 4 * i);
  });
  return out;
}
