import { decodeSrgb } from '../capture/curves.js';
import { plateRows, SAMPLES, type StoredPlate } from './plate-rows.js';

/** How a plate is shown in its copies. */
export interface Tone {
  /** Factor on linear light. */
  readonly gain: number;
  /** sRGB code of 16 bits from which on a channel's light counts as that of lit ground. */
  readonly litCode: number;
}

/**
 * The factor with which a plate is shown: that of its preview, or less, so that of the lit ground at most one pixel in 10 000
 * has a channel that is clipped; and what counts as lit: a twentieth of the brightest pixel and more.
 */
export async function toneOf(plate: StoredPlate, previewGain: number, signal?: AbortSignal): Promise<Tone> {
  const counts = new Float64Array(65536);
  for await (const { codes } of plateRows(plate, signal)) {
    for (let i = 0; i < codes.length; i += SAMPLES) {
      if (codes[i + 3]! > 32767) counts[Math.max(codes[i]!, codes[i + 1]!, codes[i + 2]!)]!++;
    }
  }
  const brightest = counts.findLastIndex((count) => count > 0);
  if (brightest <= 0) return { gain: previewGain, litCode: 1 };
  const litFrom = LIT_SHARE * decodeSrgb(brightest / 65535);
  const litCode = counts.findIndex((_, code) => decodeSrgb(code / 65535) >= litFrom);
  const lit = counts.subarray(litCode).reduce((sum, count) => sum + count, 0);
  let above = 0;
  let code = brightest;
  while (code > litCode && above + counts[code]! <= CLIPPED_SHARE * lit) above += counts[code--]!;
  return { gain: Math.min(previewGain, 1 / decodeSrgb(code / 65535)), litCode };
}

const LIT_SHARE = 0.05;
const CLIPPED_SHARE = 1e-4;
