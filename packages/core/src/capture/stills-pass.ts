import { stat } from 'node:fs/promises';
import { join } from 'node:path';
import { InputError, type LeftOut } from '../job/errors.js';
import { mapBounded } from './bounded.js';
import { OPEN_FILES } from './folder.js';
import type { FrameFile, LeftOutReason, StillsPass } from './pass.js';
import type { Encoding } from './reading.js';
import { EXPORT_ADVICE } from './sniff.js';
import { MOST_PIXELS, readStillHeader } from './still-header.js';
import { isTimed, readStillTime } from './time-still.js';

/**
 * Reads the headers of a folder of stills and keeps the frames of the most common upright size and channel count
 * (of equally common ones, that of the earliest frame). Names come in natural order and stay in it. Throws
 * {@link InputError} `PASS_UNUSABLE` when no frame is left.
 */
export async function readStillsPass(
  root: string,
  prefix: string,
  name: string,
  stills: readonly string[],
  encoding: Encoding,
  signal?: AbortSignal,
): Promise<{ pass: StillsPass; leftOut: LeftOut<LeftOutReason>[] }> {
  const judged = await mapBounded(stills, OPEN_FILES, (still) => readFrame(root, `${prefix}${still}`), signal);
  const leftOut = judged.filter((entry) => 'reason' in entry);
  const usable = judged.filter((entry) => 'frame' in entry);
  const most = mostCommon(usable);
  if (most === undefined) {
    throw new InputError(
      'PASS_UNUSABLE',
      `No frame of the pass ${name} can be used (stills found: ${stills.length}). For one, ${leftOut[0]?.item}: ` +
        `${leftOut[0]?.detail} Replace them, or move the folder out of the capture.`,
    );
  }
  const frames: FrameFile[] = [];
  for (const entry of usable) {
    if (entry.shape === most.shape) frames.push(entry.frame);
    else leftOut.push(oddFrame(entry, most));
  }
  const { widthPx, heightPx, channels } = most;
  return { pass: { kind: 'stills', name, frames, widthPx, heightPx, channels, encoding }, leftOut };
}

interface Usable {
  readonly frame: FrameFile;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly channels: 1 | 3;
  /** The three figures above as one text. */
  readonly shape: string;
}

async function readFrame(root: string, item: string): Promise<Usable | LeftOut<LeftOutReason>> {
  const path = join(root, item);
  try {
    const { widthPx, heightPx, channels, format } = await readStillHeader(path);
    if (widthPx * heightPx > MOST_PIXELS) {
      const detail = `It announces ${widthPx} x ${heightPx} pixels; at most ${MOST_PIXELS} are read.`;
      return { item, reason: 'too-large', detail };
    }
    const { size, mtime } = await stat(path);
    const { notes: _, ...recorded } = await readStillTime(path, isTimed(format) ? format : 'other');
    const frame = { item, path, sizeBytes: size, modified: mtime.toISOString(), recorded };
    return { frame, widthPx, heightPx, channels, shape: `${widthPx} x ${heightPx}, ${nameOf(channels)}` };
  } catch (error) {
    const cause =
      error instanceof Error ? error.message.replace(`${path} cannot be read as a frame: `, '') : `${error}`;
    return { item, reason: 'unreadable', detail: cause.endsWith('.') ? cause : `${cause}. ${EXPORT_ADVICE}` };
  }
}

function mostCommon(usable: readonly Usable[]): Usable | undefined {
  const counts = new Map<string, number>();
  for (const { shape } of usable) counts.set(shape, (counts.get(shape) ?? 0) + 1);
  const highest = Math.max(...counts.values());
  return usable.find(({ shape }) => counts.get(shape) === highest);
}

function oddFrame(entry: Usable, most: Usable): LeftOut<LeftOutReason> {
  const sameSize = entry.widthPx === most.widthPx && entry.heightPx === most.heightPx;
  return {
    item: entry.frame.item,
    reason: sameSize ? 'odd-channels' : 'odd-size',
    detail: `It is ${entry.shape}; most frames of the pass are ${most.shape}.`,
  };
}

function nameOf(channels: 1 | 3): string {
  return channels === 1 ? 'grey' : 'RGB';
}
