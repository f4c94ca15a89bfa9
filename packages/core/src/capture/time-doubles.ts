import type { LeftOut } from '../job/errors.js';
import type { FrameTime } from './time-resolve.js';

/** What a frame holds, as digests. */
export interface FrameDigests {
  /** SHA-256 of the file. */
  readonly file: string;
  /** SHA-256 of size and samples, or `undefined` where it was not taken. */
  readonly pixels: string | undefined;
}

/** A frame that says nothing new: the same bytes, or the same pixels, as an earlier one. */
export type DoubleReason = 'same-file' | 'same-pixels';

/**
 * The frames, given in frame order, that repeat an earlier one; the first of each is not in the list. Noise makes every
 * exposure differ, so equal pixels are one exposure, saved or copied twice: counted twice, its noise and its moment of air
 * would weigh double. Times decide nothing; where they differ, the detail says so. Throws a plain `RangeError` when there
 * are not as many digests as times.
 */
export function judgeDoubles(times: readonly FrameTime[], digests: readonly FrameDigests[]): LeftOut<DoubleReason>[] {
  if (times.length !== digests.length) throw new RangeError(`${times.length} times, ${digests.length} digests`);
  const files = new Map<string, FrameTime>();
  const pictures = new Map<string, FrameTime>();
  const doubles: LeftOut<DoubleReason>[] = [];
  for (const [i, { file, pixels }] of digests.entries()) {
    const time = times[i]!;
    const sameFile = files.get(file);
    const samePixels = pixels === undefined ? undefined : pictures.get(pixels);
    if (sameFile !== undefined)
      doubles.push({ item: time.item, reason: 'same-file', detail: detailOf('file', sameFile, time) });
    else if (samePixels !== undefined) {
      doubles.push({ item: time.item, reason: 'same-pixels', detail: detailOf('picture', samePixels, time) });
    }
    if (sameFile === undefined) files.set(file, time);
    if (samePixels === undefined && pixels !== undefined) pictures.set(pixels, time);
  }
  return doubles;
}

function detailOf(what: string, first: FrameTime, again: FrameTime): string {
  const apartMs = Math.abs((again.clockMs ?? Number.NaN) - (first.clockMs ?? Number.NaN));
  const apart = apartMs > 0 ? `, though its stamp differs by ${(apartMs / 1000).toFixed(3)} s` : '';
  return `It is the same ${what} as ${first.item}${apart}.`;
}
