import { type RowSource, rowsOf } from '../compute/image.js';
import { planColour } from './colour-plan.js';
import { applyMatrix, countClipped, decodeCodes, tablesOf } from './linearise.js';
import { type DecodedStill, finishStill, inRange, type ReadStillOptions, refuseTooLarge } from './read-still.js';
import { readSamples } from './samples.js';
import { readStillHeader, unreadable } from './still-header.js';

/** A decoded still whose light is worked out band by band, so that it never lies in memory as floats. */
export interface OpenStill extends RowSource, Omit<DecodedStill, 'image' | 'clipped'> {
  /** Share of the pixels, 0..1, that have any channel at the recorded maximum. */
  clipped(): number;
}

/**
 * Decodes what {@link readStill} reads, to the same light; 8- and 16-bit files that are stored upright stay as codes until
 * their rows are asked for, all others are held as floats. Throws {@link InputError} `FRAME_UNREADABLE`.
 */
export async function openStill(path: string, options: ReadStillOptions = {}): Promise<OpenStill> {
  const header = inRange(await readStillHeader(path), options.range ?? 'auto');
  const { orientation, widthPx, heightPx, channels } = header;
  const isUpright = orientation <= 1 || orientation > 8;
  try {
    refuseTooLarge(path, header);
    const plan = planColour(header, options.curve ?? 'auto', options.primaries ?? 'auto');
    const stored = await readSamples(path, header, plan);
    if (!isUpright || !('codes' in stored)) {
      const { image, clipped, ...facts } = finishStill(stored, header, plan);
      return { ...facts, ...rowsOf(image), clipped: () => clipped };
    }
    const tables = tablesOf(plan, header);
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
