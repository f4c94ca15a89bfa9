import { decodeBt709, decodeSrgb, encodeSrgb } from '../capture/curves.js';

/** How many samples lay outside 0..1 and were clipped in encoding. */
export interface ClipCount {
  low: number;
  high: number;
}

/** A curve that 16-bit codes follow: sRGB, none, the camera's of BT.709, or the display's of BT.1886 on a black of 0. */
export type CodeCurve = 'srgb' | 'linear' | 'bt709' | 'bt1886';

/** The exponent of Rec. ITU-R BT.1886 (2011). */
export const BT1886_GAMMA = 2.4;

/**
 * Encodes linear light to 16 bits with exact rounding: the code k is given from the light of k - 1/2 up to, but not
 * including, that of k + 1/2. Reads `length` samples at `from` in `linear`, writes every `stride`th code from `to`.
 * Samples outside 0..1 are clipped and counted; one that is not a number counts as low and becomes 0.
 */
export function encode16(
  curve: CodeCurve,
  codes: Uint16Array,
  to: number,
  stride: number,
  linear: Float32Array,
  from: number,
  length: number,
  clips: ClipCount,
): void {
  const { thresholds, guesses, firstBin } = tablesOf(curve);
  const bits = new Uint32Array(linear.buffer, linear.byteOffset, linear.length);
  for (let i = from, at = to; i < from + length; i++, at += stride) {
    const value = linear[i]!;
    if (!(value > 0)) {
      if (value !== 0) clips.low++;
      codes[at] = 0;
    } else if (value >= 1) {
      if (value > 1) clips.high++;
      codes[at] = 65535;
    } else {
      let code = guesses[(bits[i]! >>> BIN_SHIFT) - firstBin] ?? 0;
      while (value >= thresholds[code + 1]!) code++;
      codes[at] = code;
    }
  }
}

/** Linear light to an 8-bit sRGB code with exact rounding; clipped to 0..255. */
export function encodeSrgb8(linear: number): number {
  return Math.round(255 * encodeSrgb(Math.min(1, Math.max(0, linear))));
}

const DECODERS: Readonly<Record<CodeCurve, (recorded: number) => number>> = {
  srgb: decodeSrgb,
  linear: (recorded) => recorded,
  bt709: decodeBt709,
  bt1886: (recorded) => Math.sign(recorded) * Math.abs(recorded) ** BT1886_GAMMA,
};

/** Light of a recorded value in 0..1 under a curve that codes follow. */
export function curveDecoder(curve: CodeCurve): (recorded: number) => number {
  return DECODERS[curve];
}

interface Tables {
  /** Smallest linear value of each code; one more, above 1, as a stop. */
  readonly thresholds: Float64Array;
  /** Code of the smallest value of each bin of float bit patterns. */
  readonly guesses: Uint16Array;
  /** Below this bin every value is code 0. */
  readonly firstBin: number;
}

/** Bins keep the exponent and the upper 12 bits of the fraction: at most 17 codes share one. */
const BIN_SHIFT = 11;
const LAST_BIN = floatBits(1) >>> BIN_SHIFT;

const made = new Map<CodeCurve, Tables>();

function tablesOf(curve: CodeCurve): Tables {
  let tables = made.get(curve);
  if (tables === undefined) {
    tables = makeTables(DECODERS[curve]);
    made.set(curve, tables);
  }
  return tables;
}

function makeTables(decode: (recorded: number) => number): Tables {
  const thresholds = Float64Array.from({ length: 65537 }, (_, code) => decode((code - 0.5) / 65535));
  thresholds[0] = 0;
  thresholds[65536] = Number.POSITIVE_INFINITY;
  const firstBin = (floatBits(thresholds[1]!) >>> BIN_SHIFT) - 1;
  const guesses = new Uint16Array(LAST_BIN - firstBin + 1);
  const value = new Float32Array(1);
  const bits = new Uint32Array(value.buffer);
  let code = 0;
  for (let bin = firstBin; bin <= LAST_BIN; bin++) {
    bits[0] = bin << BIN_SHIFT;
    while (value[0]! >= thresholds[code + 1]!) code++;
    guesses[bin - firstBin] = code;
  }
  return { thresholds, guesses, firstBin };
}

function floatBits(value: number): number {
  return new Uint32Array(Float32Array.of(value).buffer)[0]!;
}
