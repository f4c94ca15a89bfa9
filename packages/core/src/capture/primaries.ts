import { adaptation, diagonal, invert, type Matrix, multiply, times, whiteXyz } from './colour-matrix.js';

const D65 = [0.3127, 0.329] as const;

/** Chromaticities of red, green, blue, white by code point, other than sRGB's: ITU-T H.273, table 2. */
const PRIMARIES: ReadonlyMap<number, readonly (readonly [number, number])[]> = new Map([
  [5, [[0.64, 0.33], [0.29, 0.6], [0.15, 0.06], D65]],
  [6, [[0.63, 0.34], [0.31, 0.595], [0.155, 0.07], D65]],
  [7, [[0.63, 0.34], [0.31, 0.595], [0.155, 0.07], D65]],
  [9, [[0.708, 0.292], [0.17, 0.797], [0.131, 0.046], D65]],
  [
    11,
    [
      [0.68, 0.32],
      [0.265, 0.69],
      [0.15, 0.06],
      [0.314, 0.351],
    ],
  ],
  [12, [[0.68, 0.32], [0.265, 0.69], [0.15, 0.06], D65]],
]);

const SRGB: readonly (readonly [number, number])[] = [[0.64, 0.33], [0.3, 0.6], [0.15, 0.06], D65];

/** Linear RGB of the primaries of a code point of ITU-T H.273 to linear sRGB; undefined where it is that, or is not known. */
export function codePointToSrgb(codePoint: number): Matrix | undefined {
  const chromaticities = PRIMARIES.get(codePoint);
  return chromaticities && toSrgb(chromaticities);
}

/** Code points of named primaries. */
const NAMED = { bt709: 1, p3: 12, bt2020: 9 } as const;

/** {@link codePointToSrgb} by name. */
export function primariesToSrgb(name: keyof typeof NAMED): Matrix | undefined {
  return codePointToSrgb(NAMED[name]);
}

/** The code point of named primaries. */
export function primariesCodePoint(name: keyof typeof NAMED): number {
  return NAMED[name];
}

function toSrgb(from: readonly (readonly [number, number])[]): Matrix {
  const adapt = adaptation(whiteOf(from), whiteOf(SRGB));
  return multiply(invert(toXyz(SRGB)), multiply(adapt, toXyz(from)));
}

function whiteOf(chromaticities: readonly (readonly [number, number])[]): number[] {
  const [x, y] = chromaticities[3]!;
  return whiteXyz(x, y);
}

/** Linear RGB to XYZ of primaries and white: SMPTE RP 177. */
function toXyz(chromaticities: readonly (readonly [number, number])[]): Matrix {
  const columns = chromaticities.slice(0, 3).map(([x, y]) => whiteXyz(x, y));
  const plain = [0, 1, 2].flatMap((row) => columns.map((column) => column[row]!));
  return multiply(plain, diagonal(times(invert(plain), whiteOf(chromaticities))));
}
