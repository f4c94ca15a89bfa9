/** A curve between linear light and recorded code values that is fixed by a standard. */
export type StandardCurve = 'srgb' | 'linear' | 'bt709';

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
const BT709_ALPHA = 1.099296826809442;
const BT709_BETA = 0.018053968510807;

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

/** The decoding function of a standard curve. */
export function decoderOf(curve: StandardCurve): (recorded: number) => number {
  if (curve === 'srgb') return decodeSrgb;
  if (curve === 'bt709') return decodeBt709;
  return (recorded) => recorded;
}

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
