import { chromaticitiesOf, toSrgb } from '../capture/primaries.js';
import { curveDecoder, encode16 } from '../plate/encode.js';
import type { MasterColour } from '../plate/master-colour.js';

/** Red, green, blue and alpha. */
const SAMPLES = 4;

/**
 * 16-bit RGBA codes of any colour that a master can have as sRGB codes: by its curve to linear light, by a matrix to the
 * primaries of BT.709 where it has others, and back with exact rounding. What lies outside of sRGB is clipped, channel by
 * channel. Alpha stays. Codes that are sRGB already are given back as they are, others in a new array.
 */
export function inSrgb(codes: Uint16Array, { encoding, primaries }: MasterColour): Uint16Array {
  if (encoding === 'srgb' && primaries === 'bt709') return codes;
  const decode = curveDecoder(encoding);
  const lights = Float64Array.from({ length: 65536 }, (_, code) => decode(code / 65535));
  const m = primaries === 'bt709' ? IDENTITY : toSrgb(chromaticitiesOf(primaries));
  const pixels = codes.length / SAMPLES;
  const out = codes.slice();
  const clips = { low: 0, high: 0 };
  const plane = new Float32Array(pixels);
  for (let c = 0; c < 3; c++) {
    const [r, g, b] = [m[3 * c]!, m[3 * c + 1]!, m[3 * c + 2]!];
    for (let i = 0, at = 0; i < pixels; i++, at += SAMPLES) {
      plane[i] = r * lights[codes[at]!]! + g * lights[codes[at + 1]!]! + b * lights[codes[at + 2]!]!;
    }
    encode16('srgb', out, c, SAMPLES, plane, 0, pixels, clips);
  }
  return out;
}

const IDENTITY = [1, 0, 0, 0, 1, 0, 0, 0, 1] as const;
