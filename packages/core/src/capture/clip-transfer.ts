import { decodeBt709, decodeSrgb } from './curves.js';
import type { DecodedStill } from './read-still.js';

/** Light of this many cd/m² is 1 where a clip is recorded by the absolute curve. */
const PQ_WHITE = 1000;

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

/** SMPTE ST 2084: the display's light, 10 000 cd/m² at 1, over {@link PQ_WHITE}. */
function decodePq(v: number): number {
  const root = Math.max(0, v) ** (32 / 2523);
  const base = Math.max(0, root - 107 / 128) / (2413 / 128 - (2392 / 128) * root);
  return (10_000 / PQ_WHITE) * base ** (8192 / 1305);
}

/** Rec. ITU-R BT.2100-2, table 5: the scene's light of the hybrid log-gamma curve, 1 at 1. */
function decodeHlg(v: number): number {
  if (v < 0) return -decodeHlg(-v);
  const a = 0.17883277;
  const b = 1 - 4 * a;
  const c = 0.5 - a * Math.log(4 * a);
  return v <= 0.5 ? (v * v) / 3 : (Math.exp((v - c) / a) + b) / 12;
}
