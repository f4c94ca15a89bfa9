import { stat } from 'node:fs/promises';
import { join } from 'node:path';
import type { LeftOut } from '../job/errors.js';
import { mapBounded } from './bounded.js';
import { OPEN_FILES } from './folder.js';
import type { FrameFile, LeftOutReason, Notice, StillsPass } from './pass.js';
import type { Encoding } from './reading.js';
import { EXPORT_ADVICE } from './sniff.js';
import { MOST_PIXELS, readStillHeader } from './still-header.js';
import { isTimed, readStillTime } from './time-still.js';

/**
 * Reads the headers of a folder of stills and keeps the frames of the most common upright size and channel count
 * (of equally common ones, that of the earliest frame); there is no pass when no frame is left. Names come in natural
 * order and stay in it.
 */
export async function readStillsPass(
  root: string,
  prefix: string,
  name: string,
  stills: readonly string[],
  encoding: Encoding,
  signal?: AbortSignal,
): Promise<{ pass: StillsPass | undefined; leftOut: LeftOut<LeftOutReason>[]; notices: Notice[] }> {
  const judged = await mapBounded(stills, OPEN_FILES, (still) => readFrame(root, `${prefix}${still}`), signal);
  const leftOut = judged.filter((entry) => 'reason' in entry);
  const usable = judged.filter((entry) => 'frame' in entry);
  const most = mostCommon(usable, ({ shape }) => shape);
  if (most === undefined) return { pass: undefined, leftOut, notices: [] };
  const kept = usable.filter(({ shape }) => shape === most.shape);
  leftOut.push(...usable.filter((entry) => !kept.includes(entry)).map((entry) => oddFrame(entry, most)));
  const { widthPx, heightPx, channels } = most;
  const frames = kept.map(({ frame }) => frame);
  return {
    pass: { kind: 'stills', name, frames, widthPx, heightPx, channels, encoding },
    leftOut,
    notices: oddDepths(kept),
  };
}

interface Usable {
  readonly frame: FrameFile;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly channels: 1 | 3;
  /** The three figures above as one text. */
  readonly shape: string;
  readonly bits: number;
}

async function readFrame(root: string, item: string): Promise<Usable | LeftOut<LeftOutReason>> {
  const path = join(root, item);
  try {
    const { widthPx, heightPx, channels, format, bitsPerSample } = await readStillHeader(path);
    if (widthPx * heightPx > MOST_PIXELS) {
      const detail = `It announces ${widthPx} x ${heightPx} pixels; at most ${MOST_PIXELS} are read.`;
      return { item, reason: 'too-large', detail };
    }
    const { size, mtime } = await stat(path);
    const { notes: _, ...recorded } = await readStillTime(path, isTimed(format) ? format : 'other');
    const frame = { item, path, sizeBytes: size, modified: mtime.toISOString(), recorded };
    const shape = `${widthPx} x ${heightPx}, ${nameOf(channels)}`;
    return { frame, widthPx, heightPx, channels, shape, bits: bitsPerSample };
  } catch (error) {
    const cause =
      error instanceof Error ? error.message.replace(`${path} cannot be read as a frame: `, '') : `${error}`;
    const detail = `${cause[0]?.toUpperCase()}${cause.slice(1)}`;
    return { item, reason: 'unreadable', detail: detail.endsWith('.') ? detail : `${detail}. ${EXPORT_ADVICE}` };
  }
}

/** The first entry whose trait is the most frequent one. */
function mostCommon(usable: readonly Usable[], traitOf: (entry: Usable) => string | number): Usable | undefined {
  const counts = new Map<string | number, number>();
  for (const entry of usable) counts.set(traitOf(entry), (counts.get(traitOf(entry)) ?? 0) + 1);
  const highest = Math.max(...counts.values());
  return usable.find((entry) => counts.get(traitOf(entry)) === highest);
}

function oddDepths(kept: readonly Usable[]): Notice[] {
  const most = mostCommon(kept, ({ bits }) => bits)!;
  return kept.flatMap(({ frame: { item }, bits }) => {
    const detail = `It is stored in ${bits} bits, most frames of the pass in ${most.bits}; it is used.`;
    return bits === most.bits ? [] : [{ item, reason: 'odd-depth', detail }];
  });
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
