/** A curve between linear light and recorded code values that is fixed by a standard. */
export type StandardCurve = 'srgb' | 'linear' | 'bt709' | 'pq' | 'hlg';

/** Linear light (1 = white) to a recorded value in 0..1; odd about 0. IEC 61966-2-1:1999. */
export function encodeSrgb(linear: number): number {
  if (linear < 0) return -encodeSrgb(-linear);
  return linear <= 0.0031308 ? 12.92 * linear : 1.055 * linear ** (1 / 2.4) - 0.055;
}

/** A recorded value in 0..1 to linear light; odd about 0. IEC 61966-2-1:1999. */
export function decodeSrgb(recorded: number): number {
  if (recorded < 0) return -decodeSrgb(-recorded);
  return recorded <= 0.04045 ? recorded / 12.92 : ((recorded + 0.055) / 1.055) ** 2.4;
}

/** BT.709's constants with the digits that make the two branches meet (Rec. ITU-T H.273, transfer characteristics 1). */
export const BT709_ALPHA = 1.099296826809442;
/** Light below which the curve is a straight line. */
export const BT709_BETA = 0.018053968510807;

/** Linear light to a recorded value in 0..1; odd about 0. Rec. ITU-R BT.709-6, item 1.2. */
export function encodeBt709(linear: number): number {
  if (linear < 0) return -encodeBt709(-linear);
  return linear < BT709_BETA ? 4.5 * linear : BT709_ALPHA * linear ** 0.45 - (BT709_ALPHA - 1);
}

/** A recorded value in 0..1 to linear light: the inverse of the camera curve, not a display's. Rec. ITU-R BT.709-6. */
export function decodeBt709(recorded: number): number {
  if (recorded < 0) return -decodeBt709(-recorded);
  return recorded < 4.5 * BT709_BETA ? recorded / 4.5 : ((recorded + (BT709_ALPHA - 1)) / BT709_ALPHA) ** (1 / 0.45);
}

/** Light of this many cd/m² is 1 in what is recorded by the absolute curve. */
const PQ_WHITE = 1000;

/** SMPTE ST 2084: the display's light, 10 000 cd/m² at 1, over {@link PQ_WHITE}. */
export function decodePq(v: number): number {
  const root = Math.max(0, v) ** (32 / 2523);
  const base = Math.max(0, root - 107 / 128) / (2413 / 128 - (2392 / 128) * root);
  return (10_000 / PQ_WHITE) * base ** (8192 / 1305);
}

/** Rec. ITU-R BT.2100-2, table 5: the scene's light of the hybrid log-gamma curve, 1 at 1. */
export function decodeHlg(v: number): number {
  if (v < 0) return -decodeHlg(-v);
  const a = 0.17883277;
  const b = 1 - 4 * a;
  const c = 0.5 - a * Math.log(4 * a);
  return v <= 0.5 ? (v * v) / 3 : (Math.exp((v - c) / a) + b) / 12;
}

/** The decoding function of a standard curve. */
export function decoderOf(curve: StandardCurve): (recorded: number) => number {
  return DECODERS[curve];
}

const DECODERS: Readonly<Record<StandardCurve, (recorded: number) => number>> = {
  srgb: decodeSrgb,
  linear: (recorded) => recorded,
  bt709: decodeBt709,
  pq: decodePq,
  hlg: decodeHlg,
};

const tables = new Map<string, Float32Array>();

/** Linear light of every code 0..maximum under a standard curve: code 0 gives 0, the maximum gives 1. Kept once made. */
export function decodingTable(curve: StandardCurve, maximum: number): Float32Array {
  const key = `${curve}/${maximum}`;
  let table = tables.get(key);
  if (table === undefined) {
    table = tabulate(decoderOf(curve), maximum);
    tables.set(key, table);
  }
  return table;
}

/** Values of `decode(code / maximum)` for every code 0..maximum. */
export function tabulate(decode: (recorded: number) => number, maximum: number): Float32Array {
  return Float32Array.from({ length: maximum + 1 }, (_, code) => decode(code / maximum));
}
