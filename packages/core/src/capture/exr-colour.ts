import { adaptation, D50_TO_SRGB, D50_XYZ, diagonal, invert, multiply, times, whiteXyz } from './colour-matrix.js';

/** The primaries of sRGB and BT.709 and their white D65: x, y of red, green, blue, white. What a file means that is silent. */
const SRGB_CHROMATICITIES = [0.64, 0.33, 0.3, 0.6, 0.15, 0.06, 0.3127, 0.329];
/** Chromaticities within this of sRGB's are sRGB's. */
const SAME = 0.0005;

/**
 * Row-major matrix from linear RGB of the given primaries and white to linear sRGB, white to white (linear Bradford);
 * `undefined` for sRGB itself. SMPTE RP 177-1993. Throws a plain `Error` when the primaries span no colours.
 */
export function chromaticityMatrix(chromaticities: readonly number[]): number[] | undefined {
  if (chromaticities.every((value, i) => Math.abs(value - SRGB_CHROMATICITIES[i]!) < SAME)) return undefined;
  const [rx, ry, gx, gy, bx, by, wx, wy] = chromaticities as [
    number,
    number,
    number,
    number,
    number,
    number,
    number,
    number,
  ];
  const white = whiteXyz(wx, wy);
  const primaries = [rx, gx, bx, ry, gy, by, 1 - rx - ry, 1 - gx - gy, 1 - bx - by];
  const toXyz = multiply(primaries, diagonal(times(invert(primaries), white)));
  const matrix = multiply(D50_TO_SRGB, multiply(adaptation(white, D50_XYZ), toXyz));
  if (!matrix.every((value) => Math.abs(value) < 100)) {
    throw new Error(`its primaries and white (${chromaticities.map((value) => value.toFixed(3))}) span no colours`);
  }
  return matrix;
}
