import type { LinearImage } from '../compute/image.js';
import { planColour } from './colour-plan.js';
import { applyMatrix, countClipped, decodeCodes, maximumOf, tablesOf } from './linearise.js';
import { type DecodedStill, type ReadStillOptions, readStill, refuseTooLarge } from './read-still.js';
import { readIntegerSamples } from './samples.js';
import { readStillHeader, unreadable } from './still-header.js';

/** A decoded still whose light is worked out band by band, so that it never lies in memory as floats. */
export interface OpenStill extends Omit<DecodedStill, 'image' | 'clipped'> {
  /** Size when upright (space 2). */
  readonly width: number;
  readonly height: number;
  readonly channels: number;
  /** Fills planes with the linear light of whole rows from row `y` on, as many as the planes hold. */
  rows(y: number, into: readonly Float32Array[]): void;
  /** Share of the pixels, 0..1, that have any channel at the recorded maximum. */
  clipped(): number;
}

/**
 * Decodes what {@link readStill} reads, to the same light; 8- and 16-bit files that are stored upright stay as codes until
 * their rows are asked for, all others are held as floats. Throws {@link InputError} `FRAME_UNREADABLE`.
 */
export async function openStill(path: string, options: ReadStillOptions = {}): Promise<OpenStill> {
  const header = await readStillHeader(path);
  const { orientation, widthPx, heightPx, channels } = header;
  const isUpright = orientation <= 1 || orientation > 8;
  if (!isUpright || header.samples !== 'unsigned' || maximumOf(header) > 65535) {
    const { image, clipped, ...facts } = await readStill(path, options);
    return { ...facts, ...stillOf(image), clipped: () => clipped };
  }
  try {
    refuseTooLarge(path, header);
    const plan = planColour(header, options.curve ?? 'auto');
    const stored = await readIntegerSamples(path, header, plan);
    const tables = tablesOf(plan, channels, maximumOf(header));
    return {
      width: widthPx,
      height: heightPx,
      channels,
      rows: (y, into) => {
        decodeCodes(stored, y * widthPx, tables, into);
        if (plan.matrix !== undefined) applyMatrix(into, plan.matrix);
      },
      clipped: () => countClipped(stored, header) / (widthPx * heightPx),
      bitsPerSample: header.bitsPerSample,
      curve: plan.name,
      notes: [...header.notes, ...plan.notes],
    };
  } catch (error) {
    throw unreadable(path, error);
  }
}

/** The rows of a picture that lies in memory. */
function stillOf({ width, height, planes }: LinearImage): Pick<OpenStill, 'width' | 'height' | 'channels' | 'rows'> {
  return {
    width,
    height,
    channels: planes.length,
    rows: (y, into) => {
      for (const [c, plane] of into.entries()) plane.set(planes[c]!.subarray(y * width, y * width + plane.length));
    },
  };
}
