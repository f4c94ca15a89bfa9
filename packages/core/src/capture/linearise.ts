import type { ColourPlan } from './colour-plan.js';
import { decodingTable, tabulate } from './curves.js';
import type { StillHeader } from './still-header.js';

/**
 * Decoded samples in stored order: interleaved codes of 8 or 16 bits, or one array per channel for anything wider, with
 * what was assumed in reading them; or, from a sensor's raw data, light that is finished.
 */
export type StoredSamples = StoredCodes | StoredPlanes | (Linearised & { readonly light: true });

/** One array of recorded values a channel. */
export interface StoredPlanes {
  readonly planes: readonly ArrayLike<number>[];
  readonly notes?: readonly string[];
}

/** Linear planes in stored order. */
export interface Linearised {
  readonly planes: readonly Float32Array[];
  /** Pixels that have any channel at the recorded maximum. */
  readonly clippedPixels: number;
  /** What was assumed in reading, in plain words. */
  readonly notes?: readonly string[];
}

/** Floats above this are not on a scale of 1; a few times 1 can follow from calibration. */
const MOST_FLOAT = 16;

/** The recorded value that means 1. */
export function maximumOf(header: StillHeader): number {
  return header.scale?.white ?? (header.samples === 'float' ? 1 : 2 ** header.bitsPerSample - 1);
}

/** Applies a plan to samples. Throws a plain `Error` for floats that are not finite or not on a scale of 1. */
export function linearise(stored: StoredSamples, header: StillHeader, plan: ColourPlan): Linearised {
  if ('light' in stored) return stored;
  const out = 'codes' in stored ? fromCodes(stored, header, plan) : fromPlanes(stored, header, plan);
  if (plan.matrix !== undefined) applyMatrix(out.planes, plan.matrix);
  return out;
}

/** The alpha channel as 0..1 in stored order, or `undefined` when the file has none. */
export function alphaPlane(stored: StoredSamples, header: StillHeader): Float32Array | undefined {
  if (header.alpha === 'none' || 'light' in stored) return undefined;
  const maximum = maximumOf(header);
  if ('planes' in stored) {
    const alpha = stored.planes[header.channels]!;
    return Float32Array.from({ length: alpha.length }, (_, i) => Math.min(1, Math.max(0, alpha[i]! / maximum)));
  }
  const { codes, stride } = stored;
  const out = new Float32Array(codes.length / stride);
  for (let i = 0, at = stride - 1; i < out.length; i++, at += stride) out[i] = codes[at]! / maximum;
  return out;
}

function fromCodes(stored: StoredCodes, header: StillHeader, plan: ColourPlan): Linearised {
  const pixels = stored.codes.length / stored.stride;
  const planes = Array.from({ length: header.channels }, () => new Float32Array(pixels));
  decodeCodes(stored, 0, tablesOf(plan, header), planes);
  return { planes, clippedPixels: countClipped(stored, header) };
}

/** Interleaved codes, a pixel every `stride`. */
export interface StoredCodes {
  readonly codes: Uint8Array | Uint16Array;
  readonly stride: number;
}

/** Fills planes with the light of the codes from a pixel on, by one table a channel. */
export function decodeCodes(
  { codes, stride }: StoredCodes,
  firstPixel: number,
  tables: readonly Float32Array[],
  into: readonly Float32Array[],
): void {
  const first = firstPixel * stride;
  const [red, green, blue] = into;
  if (red && green && blue) {
    const [r, g, b] = [tables[0]!, tables[1]!, tables[2]!];
    for (let i = 0, at = first; i < red.length; i++, at += stride) {
      red[i] = r[codes[at]!]!;
      green[i] = g[codes[at + 1]!]!;
      blue[i] = b[codes[at + 2]!]!;
    }
    return;
  }
  for (const [channel, plane] of into.entries()) {
    const table = tables[channel]!;
    for (let i = 0, at = first + channel; i < plane.length; i++, at += stride) plane[i] = table[codes[at]!]!;
  }
}

/** Number of pixels that have any channel at the recorded maximum or above. */
export function countClipped({ codes, stride }: StoredCodes, header: StillHeader): number {
  const maximum = maximumOf(header);
  let clipped = 0;
  if (header.channels === 1) {
    for (let at = 0; at < codes.length; at += stride) if (codes[at]! >= maximum) clipped++;
  } else {
    for (let at = 0; at < codes.length; at += stride) {
      if (codes[at]! >= maximum || codes[at + 1]! >= maximum || codes[at + 2]! >= maximum) clipped++;
    }
  }
  return clipped;
}

/** Linear light of every code, a table a channel. */
export function tablesOf(plan: ColourPlan, header: StillHeader): Float32Array[] {
  const { name, curves } = plan;
  const largest = 2 ** header.bitsPerSample - 1;
  const { zero, white } = header.scale ?? { zero: 0, white: largest };
  const plain = zero === 0 && white === largest;
  const standard = plain && (name === 'srgb' || name === 'linear' || name === 'bt709');
  const share = (position: number): number => (plain ? position : (position * largest - zero) / (white - zero));
  const tables = curves.map((curve) =>
    standard ? decodingTable(name, largest) : tabulate((position) => curve(share(position)), largest),
  );
  return Array.from({ length: header.channels }, (_, channel) => tables[channel] ?? tables[0]!);
}

/** Divides by the alpha that colours are multiplied with; for 8- and 16-bit codes the decoder has done that. */
function fromPlanes({ planes: stored, notes = [] }: StoredPlanes, header: StillHeader, plan: ColourPlan): Linearised {
  const maximum = maximumOf(header);
  const alpha = header.alpha === 'premultiplied' ? stored[header.channels] : undefined;
  const clipped = new Uint8Array(stored[0]!.length);
  const planes = stored.slice(0, header.channels).map((samples, channel) => {
    const decode = plan.curves[channel] ?? plan.curves[0]!;
    const plane = new Float32Array(samples.length);
    for (let i = 0; i < samples.length; i++) {
      const opacity = alpha === undefined || alpha[i] === 0 ? 1 : alpha[i]! / maximum;
      const recorded = samples[i]! / maximum / opacity;
      if (!(Math.abs(recorded) <= MOST_FLOAT)) {
        throw new Error(`a sample is ${samples[i]}; floats must be finite, 0 for black and 1 for the clipping point`);
      }
      if (recorded >= 1) clipped[i] = 1;
      plane[i] = decode(recorded);
    }
    return plane;
  });
  return { planes, clippedPixels: clipped.reduce((sum, value) => sum + value, 0), notes };
}

/** Multiplies red, green, blue with a row-major 3 x 3 matrix, in place. */
export function applyMatrix(planes: readonly Float32Array[], m: readonly number[]): void {
  const [red, green, blue] = planes as [Float32Array, Float32Array, Float32Array];
  const [a, b, c, d, e, f, g, h, k] = m as [number, number, number, number, number, number, number, number, number];
  for (let i = 0; i < red.length; i++) {
    const x = red[i]!;
    const y = green[i]!;
    const z = blue[i]!;
    red[i] = a * x + b * y + c * z;
    green[i] = d * x + e * y + f * z;
    blue[i] = g * x + h * y + k * z;
  }
}
