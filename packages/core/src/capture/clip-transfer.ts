import { decodeBt709, decodeHlg, decodePq, decodeSrgb } from './curves.js';
import type { DecodedStill } from './read-still.js';

/** A transfer function of ITU-T H.273, from recorded value (0..1) to linear light; undefined for those that are not read. */
export function clipTransfer(
  codePoint: number,
): { readonly name: DecodedStill['curve']; readonly decode: (v: number) => number } | undefined {
  switch (codePoint) {
    case 1:
    case 6:
    case 14:
    case 15:
      return { name: 'bt709', decode: decodeBt709 };
    case 4:
      return { name: 'gamma', decode: power(2.2) };
    case 5:
      return { name: 'gamma', decode: power(2.8) };
    case 8:
      return { name: 'linear', decode: (v) => v };
    case 13:
      return { name: 'srgb', decode: decodeSrgb };
    case 16:
      return { name: 'pq', decode: decodePq };
    case 18:
      return { name: 'hlg', decode: decodeHlg };
    default:
      return undefined;
  }
}

function power(exponent: number): (v: number) => number {
  return (v) => Math.sign(v) * Math.abs(v) ** exponent;
}
