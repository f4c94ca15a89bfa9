import { pictures } from '../capture/picture-library.js';
import type { Plane } from '../compute/image.js';

/** A scale of colours, darkest value first: sRGB codes between which values lie evenly. */
export type Ramp = readonly (readonly [number, number, number])[];

/** Few frames to many: plum, rose, sand. */
export const COVERAGE_RAMP: Ramp = [
  [74, 29, 92],
  [150, 44, 110],
  [222, 92, 98],
  [247, 163, 110],
  [253, 231, 179],
];

/** Soft to sharp: ink, sea, spring green. */
export const SHARPNESS_RAMP: Ramp = [
  [27, 41, 92],
  [24, 96, 132],
  [38, 148, 137],
  [119, 196, 116],
  [230, 236, 130],
];

/** A map as a picture, and the values at both ends of its scale. */
export interface MapPicture {
  /** PNG as a `data:` address. */
  readonly address: string;
  readonly low: number;
  readonly high: number;
}

/** Colours a map; where it is 0, nothing is drawn. Deterministic. */
export async function mapPicture({ width, height, data }: Plane, ramp: Ramp): Promise<MapPicture> {
  let [low, high] = [Number.POSITIVE_INFINITY, 0];
  for (const value of data) {
    if (value === 0) continue;
    low = Math.min(low, value);
    high = Math.max(high, value);
  }
  const span = high > low ? high - low : 1;
  const pixels = new Uint8Array(width * height * 4);
  for (let i = 0; i < data.length; i++) {
    if (data[i] === 0) continue;
    pixels.set(colourAt(ramp, (data[i]! - low) / span), 4 * i);
    pixels[4 * i + 3] = 255;
  }
  const png = await pictures(pixels, { raw: { width, height, channels: 4 } })
    .png({ compressionLevel: 9 })
    .toBuffer();
  return { address: `data:image/png;base64,${png.toString('base64')}`, low: Math.min(low, high), high };
}

function colourAt(ramp: Ramp, share: number): number[] {
  const at = Math.min(1, Math.max(0, share)) * (ramp.length - 1);
  const k = Math.min(ramp.length - 2, Math.floor(at));
  return ramp[k]!.map((from, c) => Math.round(from + (at - k) * (ramp[k + 1]![c]! - from)));
}
