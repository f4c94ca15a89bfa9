import type { LinearImage } from '../compute/image.js';
import { InputError } from '../job/errors.js';
import { type ColourPlan, planColour } from './colour-plan.js';
import type { StandardCurve } from './curves.js';
import { alphaPlane, type Linearised, linearise, type StoredSamples } from './linearise.js';
import { orientInto } from './orient.js';
import { readSamples } from './samples.js';
import { EXPORT_ADVICE } from './sniff.js';
import { MOST_PIXELS, readStillHeader, type StillHeader, unreadable } from './still-header.js';

/** How recorded values are to be understood. `auto` believes the file; the others override what it declares. */
export type RecordedCurve = 'auto' | StandardCurve;

export interface ReadStillOptions {
  /** Default `auto`: an embedded profile, then what a PNG declares, then linear for floats and sRGB for integers. */
  readonly curve?: RecordedCurve;
  /** Default `auto`: whole numbers fill the range of their depth. */
  readonly range?: RecordedRange;
  /** Default `auto`: those of the file's profile, or sRGB's. */
  readonly primaries?: RecordedPrimaries;
}

/** Whether whole numbers fill the range of their depth, or 16 to 235 of 256 of it; `auto` believes the file. */
export type RecordedRange = 'auto' | 'full' | 'video';

/** Whose primaries red, green and blue are; `auto` believes the file. */
export type RecordedPrimaries = 'auto' | 'bt709' | 'p3' | 'bt2020';

/** A still in linear light. */
export interface DecodedStill {
  /** Upright (space 2), sRGB primaries or grey; 1 is the recorded maximum: the largest code, or 1 in a float file. */
  readonly image: LinearImage;
  /** Share of the pixels, 0..1, that have any channel at the recorded maximum. */
  readonly clipped: number;
  readonly bitsPerSample: number;
  /** The curve that was applied; `profile` for that of an embedded profile, `gamma` for a declared exponent. */
  readonly curve: StandardCurve | 'profile' | 'gamma';
  /** What was passed over or assumed, in plain words. */
  readonly notes: readonly string[];
}

/**
 * Reads a PNG, JPEG, TIFF, FITS, OpenEXR, PGM, PPM, PAM, PFM or DNG into linear light at its full depth; docs/formats.md
 * says what of each. Alpha is dropped, or divided out where colours are multiplied with it; 'linear' and 'bt709' and
 * 'srgb' take the codes as they are, without the embedded profile. Throws {@link InputError} `FRAME_UNREADABLE` for
 * anything that it cannot read truthfully: cut-short data, inks, single bits, signed samples, values that are missing.
 */
export async function readStill(path: string, options: ReadStillOptions = {}): Promise<DecodedStill> {
  const header = inRange(await readStillHeader(path), options.range ?? 'auto');
  try {
    const plan = planColour(header, options.curve ?? 'auto', options.primaries ?? 'auto');
    refuseTooLarge(path, header);
    return finishStill(await readSamples(path, header, plan), header, plan);
  } catch (error) {
    throw unreadable(path, error);
  }
}

/** A header whose whole numbers are in another range than it says. */
export function inRange(header: StillHeader, range: RecordedRange): StillHeader {
  if (range === 'auto' || header.samples === 'float' || header.linear === 'always') return header;
  const unit = 2 ** (header.bitsPerSample - 8);
  const scale = range === 'video' ? { zero: 16 * unit, white: 235 * unit } : { zero: 0, white: 256 * unit - 1 };
  return { ...header, scale };
}

/** Brings decoded samples into linear light and upright. */
export function finishStill(stored: StoredSamples, header: StillHeader, plan: ColourPlan): DecodedStill {
  const { planes, clippedPixels, notes = [] } = linearise(stored, header, plan);
  return {
    image: { width: header.widthPx, height: header.heightPx, planes: toUpright(planes, header) },
    clipped: clippedPixels / (header.widthPx * header.heightPx),
    bitsPerSample: header.bitsPerSample,
    curve: plan.name,
    notes: [...header.notes, ...notes, ...plan.notes],
  };
}

/** Decodes a file whose header is known to linear planes in stored order, and its alpha if it has any. */
export async function decodeStill(
  path: string,
  header: StillHeader,
  plan: ColourPlan,
): Promise<Linearised & { readonly alpha: Float32Array | undefined }> {
  refuseTooLarge(path, header);
  const stored = await readSamples(path, header, plan);
  return { alpha: alphaPlane(stored, header), ...linearise(stored, header, plan) };
}

/** Turns planes from stored order to upright. */
export function toUpright(planes: readonly Float32Array[], header: StillHeader): Float32Array[] {
  const { storedWidthPx: width, storedHeightPx: height, orientation } = header;
  if (orientation <= 1 || orientation > 8) return [...planes];
  return planes.map((data) => {
    const out = new Float32Array(data.length);
    orientInto(out, { width, height, data }, orientation);
    return out;
  });
}

/** Throws {@link InputError} `FRAME_UNREADABLE` for more pixels than are read. */
export function refuseTooLarge(path: string, { storedWidthPx, storedHeightPx }: StillHeader): void {
  if (storedWidthPx * storedHeightPx <= MOST_PIXELS) return;
  throw new InputError(
    'FRAME_UNREADABLE',
    `${path} announces ${storedWidthPx} x ${storedHeightPx} pixels; at most ${MOST_PIXELS} are read. ${EXPORT_ADVICE}`,
  );
}
