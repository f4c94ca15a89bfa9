import { D50_TO_SRGB, multiply, SRGB_TO_D50 } from './colour-matrix.js';
import { decodeSrgb } from './curves.js';

/** How an embedded profile turns recorded values into linear light of the sRGB primaries. */
export interface ProfileConversion {
  /** Recorded value in 0..1 to linear light, one per channel. */
  readonly curves: readonly ((recorded: number) => number)[];
  /** Row-major 3 x 3 from the profile's linear RGB to sRGB's; `undefined` for grey or where it is the identity. */
  readonly matrix: readonly number[] | undefined;
  /** Whether the profile is sRGB within what its own encoding can hold. */
  readonly isSrgb: boolean;
}

/**
 * Reads a matrix or grey profile: ICC.1:2022 sections 8.3 and 10.6, 10.18. Returns `undefined` for a profile that
 * works by tables (A2B0), which needs a colour engine. Throws a plain `Error` when the profile is damaged or is not for
 * the picture's number of channels.
 */
export function readProfile(icc: Buffer, channels: 1 | 3): ProfileConversion | undefined {
  if (icc.length < 132 || icc.toString('latin1', 36, 40) !== 'acsp') throw new Error('its colour profile is damaged');
  const space = icc.toString('latin1', 16, 20);
  const wanted = channels === 1 ? 'GRAY' : 'RGB ';
  if (space !== wanted) throw new Error(`its colour profile is for ${space.trim()}, its samples are ${wanted.trim()}`);
  const tags = readTags(icc);
  if (tags.has('A2B0')) return undefined;
  if (channels === 1) {
    const curves = [readCurve(tags, 'kTRC')];
    return { curves, matrix: undefined, isSrgb: curves.every(isSrgbCurve) };
  }
  const curves = ['rTRC', 'gTRC', 'bTRC'].map((name) => readCurve(tags, name));
  const columns = ['rXYZ', 'gXYZ', 'bXYZ'].map((name) => readXyz(tags, name));
  const toPcs = [0, 1, 2].flatMap((row) => columns.map((column) => column[row]!));
  const plain = toPcs.every((value, i) => Math.abs(value - SRGB_TO_D50[i]!) < PRIMARY_TOLERANCE);
  return {
    curves,
    matrix: plain ? undefined : multiply(D50_TO_SRGB, toPcs),
    isSrgb: plain && curves.every(isSrgbCurve),
  };
}

/** Profiles called sRGB differ by up to this much in their primaries, through rounding and the white that was adapted. */
const PRIMARY_TOLERANCE = 0.0015;
/** Tables of 1024 entries of 16 bits stay this close to the sRGB curve, in linear light. */
const CURVE_TOLERANCE = 0.0005;

function isSrgbCurve(curve: (recorded: number) => number): boolean {
  for (let i = 0; i <= 64; i++) {
    if (Math.abs(curve(i / 64) - decodeSrgb(i / 64)) > CURVE_TOLERANCE) return false;
  }
  return true;
}

function readTags(icc: Buffer): Map<string, Buffer> {
  const count = icc.readUInt32BE(128);
  if (count > 1000 || 132 + count * 12 > icc.length) throw new Error('its colour profile is damaged');
  const tags = new Map<string, Buffer>();
  for (let at = 132; at < 132 + count * 12; at += 12) {
    const offset = icc.readUInt32BE(at + 4);
    const length = icc.readUInt32BE(at + 8);
    if (offset + length > icc.length) throw new Error('its colour profile is cut short');
    tags.set(icc.toString('latin1', at, at + 4), icc.subarray(offset, offset + length));
  }
  return tags;
}

function tagOf(tags: ReadonlyMap<string, Buffer>, name: string, least: number): Buffer {
  const tag = tags.get(name);
  if (tag === undefined || tag.length < least) throw new Error(`its colour profile has no usable ${name}`);
  return tag;
}

function readXyz(tags: ReadonlyMap<string, Buffer>, name: string): number[] {
  const tag = tagOf(tags, name, 20);
  return [8, 12, 16].map((at) => tag.readInt32BE(at) / 65536);
}

function readCurve(tags: ReadonlyMap<string, Buffer>, name: string): (recorded: number) => number {
  const tag = tagOf(tags, name, 12);
  const type = tag.toString('latin1', 0, 4);
  if (type === 'para') return parametricCurve(tag, name);
  if (type !== 'curv') throw new Error(`its colour profile has no usable ${name}`);
  const count = tag.readUInt32BE(8);
  if (count === 0) return (recorded) => recorded;
  if (tag.length < 12 + count * 2) throw new Error(`its colour profile has no usable ${name}`);
  if (count === 1) {
    const exponent = tag.readUInt16BE(12) / 256;
    return (recorded) => recorded ** exponent;
  }
  const table = Float64Array.from({ length: count }, (_, i) => tag.readUInt16BE(12 + i * 2) / 65535);
  return (recorded) => {
    const position = recorded * (count - 1);
    const below = Math.min(Math.floor(position), count - 2);
    return table[below]! + (table[below + 1]! - table[below]!) * (position - below);
  };
}

/** ICC.1:2022, table 68: the function types 0 to 4 with parameters g a b c d e f. */
function parametricCurve(tag: Buffer, name: string): (recorded: number) => number {
  const type = tag.readUInt16BE(8);
  const count = [1, 3, 4, 5, 7][type];
  if (count === undefined || tag.length < 12 + count * 4) throw new Error(`its colour profile has no usable ${name}`);
  const parameters = Array.from({ length: count }, (_, i) => tag.readInt32BE(12 + i * 4) / 65536);
  const [g = 1, a = 1, b = 0, third = 0, fourth = 0, e = 0, f = 0] = parameters;
  if (type === 0) return (x) => x ** g;
  if (type === 1) return (x) => (x >= -b / a ? (a * x + b) ** g : 0);
  if (type === 2) return (x) => (x >= -b / a ? (a * x + b) ** g + third : third);
  return (x) => (x >= fourth ? (a * x + b) ** g + e : third * x + f);
}
