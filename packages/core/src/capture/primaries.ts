import { adaptation, diagonal, invert, type Matrix, multiply, times, whiteXyz } from './colour-matrix.js';

const D65 = [0.3127, 0.329] as const;
/** White of ACES: SMPTE ST 2065-1. */
const ACES_WHITE = [0.32168, 0.33767] as const;

/** CIE x, y of red, green, blue and white. */
export type Chromaticities = readonly [Point, Point, Point, Point];
type Point = readonly [number, number];

/** Chromaticities of red, green, blue, white by code point, other than sRGB's: ITU-T H.273, table 2. */
const PRIMARIES: ReadonlyMap<number, Chromaticities> = new Map([
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

const SRGB: Chromaticities = [[0.64, 0.33], [0.3, 0.6], [0.15, 0.06], D65];

/** Primaries that are no code points: SMPTE ST 2065-1 and AMPAS S-2014-004. */
const ACES: Readonly<Record<'aces-ap0' | 'aces-ap1', Chromaticities>> = {
  'aces-ap0': [[0.7347, 0.2653], [0, 1], [0.0001, -0.077], ACES_WHITE],
  'aces-ap1': [[0.713, 0.293], [0.165, 0.83], [0.128, 0.044], ACES_WHITE],
};

/** The chromaticities of named primaries. */
export function chromaticitiesOf(name: keyof typeof NAMED | keyof typeof ACES): Chromaticities {
  if (name === 'aces-ap0' || name === 'aces-ap1') return ACES[name];
  return PRIMARIES.get(NAMED[name]) ?? SRGB;
}

/** Linear sRGB to linear RGB of other primaries, adapted to their white. */
export function fromSrgb(to: Chromaticities): Matrix {
  return invert(toSrgb(to));
}

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

/** Linear RGB of other primaries to linear sRGB, adapted to its white. */
export function toSrgb(from: Chromaticities): Matrix {
  const adapt = adaptation(whiteOf(from), whiteOf(SRGB));
  return multiply(invert(rgbToXyz(SRGB)), multiply(adapt, rgbToXyz(from)));
}

function whiteOf(chromaticities: Chromaticities): number[] {
  const [x, y] = chromaticities[3];
  return whiteXyz(x, y);
}

/** Linear RGB to XYZ of primaries and white: SMPTE RP 177. */
export function rgbToXyz(chromaticities: Chromaticities): Matrix {
  const columns = chromaticities.slice(0, 3).map(([x, y]) => whiteXyz(x, y));
  const plain = [0, 1, 2].flatMap((row) => columns.map((column) => column[row]!));
  return multiply(plain, diagonal(times(invert(plain), whiteOf(chromaticities))));
}
