import { writeFile } from 'node:fs/promises';
import { decodeSrgb } from '../capture/curves.js';
import { pictures } from '../capture/picture-library.js';
import { type LinearImage, luminance, type Plane } from '../compute/image.js';
import { writeWhole } from './atomic.js';
import { encodeSrgb8 } from './encode.js';
import { embedProfileInJpeg, srgbProfile } from './icc.js';
import type { PlateSource } from './plate-source.js';
import { shrink } from './shrink.js';

export interface PreviewOptions {
  /** Longest side. Default 2048. */
  readonly maxSidePx?: number;
  /** JPEG quality, 1 to 100. Default 90. */
  readonly quality?: number;
  /** What shows where nothing is covered: a neutral hatch, or black. Default `hatch`. */
  readonly background?: 'hatch' | 'black';
  /** Replace an existing file. Default false. */
  readonly force?: boolean;
}

/** What was written. */
export interface PreviewResult {
  readonly widthPx: number;
  readonly heightPx: number;
  /** Factor that was applied to linear light. */
  readonly gain: number;
}

/** Default settings of {@link writePreview}. */
export const PREVIEW_DEFAULTS: Required<PreviewOptions> = {
  maxSidePx: 2048,
  quality: 90,
  background: 'hatch',
  force: false,
};

/** Where the bright end of the ground is put, in linear light. */
const BRIGHT_LINEAR = 0.8;
/** The bright end: this share of the lit ground is darker. */
const BRIGHT_SHARE = 0.995;
/** Ground counts as lit from this share of the brightest pixel on, so that sky and night side have no say. */
const LIT_SHARE = 0.05;
/** Two greys, as sRGB codes, in diagonal stripes of 8 px: darker than lit ground, lighter than sky. */
const HATCH_CODES: readonly [number, number] = [56, 80];
const HATCH_STRIPE_BITS = 3;

/**
 * Writes a JPEG to look at: 8-bit sRGB with its profile, areas averaged in linear light. The tone is plain: one gain for
 * all pixels, which puts the 99.5th percentile of the lit ground at 0.8 in linear light, then the sRGB curve; what lies
 * above 1 is clipped. Gaps in the coverage show as a neutral diagonal hatch. The file appears whole or not at all and
 * the same pixels give the same bytes. Throws what {@link writeWhole} throws.
 */
export async function writePreview(
  path: string,
  source: PlateSource,
  options: PreviewOptions = {},
): Promise<PreviewResult> {
  const { maxSidePx, quality, background, force } = { ...PREVIEW_DEFAULTS, ...options };
  const small = shrink(source, maxSidePx);
  const { width, height } = small.image;
  const gain = plainGain(small.image, small.coverage);
  const pixels = toPixels(small.image, small.coverage, gain, background);
  const jpeg = await pictures(pixels, { raw: { width, height, channels: 3 } })
    .jpeg({ quality, chromaSubsampling: '4:4:4' })
    .toBuffer();
  const whole = embedProfileInJpeg(jpeg, srgbProfile());
  await writeWhole(path, (temporary) => writeFile(temporary, whole, { flag: 'wx' }), { force });
  return { widthPx: width, heightPx: height, gain };
}

function plainGain(image: LinearImage, coverage: Plane): number {
  const light = luminance(image).data;
  let brightest = 0;
  for (let i = 0; i < light.length; i++) {
    if (coverage.data[i]! < 0.5) light[i] = 0;
    brightest = Math.max(brightest, light[i]!);
  }
  const lit = light.filter((value) => value > 0 && value >= LIT_SHARE * brightest).sort();
  const bright = lit[Math.min(lit.length - 1, Math.floor(BRIGHT_SHARE * lit.length))];
  return bright === undefined ? 1 : BRIGHT_LINEAR / bright;
}

function toPixels(image: LinearImage, coverage: Plane, gain: number, background: 'hatch' | 'black'): Uint8Array {
  const { width, height, planes } = image;
  const stripes = HATCH_CODES.map((code) => (background === 'black' ? 0 : decodeSrgb(code / 255)));
  const out = new Uint8Array(width * height * 3);
  for (let y = 0, i = 0; y < height; y++) {
    for (let x = 0; x < width; x++, i++) {
      const covered = coverage.data[i]!;
      const behind = (1 - covered) * stripes[((x + y) >> HATCH_STRIPE_BITS) & 1]!;
      for (let c = 0; c < 3; c++) {
        const value = planes[planes.length === 1 ? 0 : c]![i]!;
        out[i * 3 + c] = encodeSrgb8(covered * Math.min(1, value * gain) + behind);
      }
    }
  }
  return out;
}
