import { closeSync, fstatSync, openSync } from 'node:fs';
import { readInto } from '../job/read-into.js';
import type { FfmpegBinding } from './clip-binding.js';
import { frameLike, isAsAnnounced, type OwnFrame, openDecoder, planesOf } from './clip-decoder.js';
import type { ClipFacts, RawPictures, StoredRows } from './clip-facts.js';
import { layoutOf } from './clip-layout.js';
import { type OpenClip, openClip, type PacketPlace, packetsOf } from './clip-open.js';
import { planesIn, storedBytes } from './clip-rows.js';

/**
 * Where the pictures of a clip lie in its file, if it keeps their codes as they are: they need not be decoded into another
 * file, then. Told by the packets' places, and believed only if the bytes at one of them are, to the bit, the picture that
 * FFmpeg decodes from it. Undefined where that is not so.
 */
export function rawPictures(
  ffmpeg: FfmpegBinding,
  path: string,
  facts: ClipFacts,
  packets: readonly PacketPlace[],
): RawPictures | undefined {
  const layout = layoutOf(facts.pixelFormat);
  if (facts.codec !== 'rawvideo' || !layout) return undefined;
  const { widthPx: width, heightPx: height } = facts;
  const first = firstPicture(ffmpeg, openClip(ffmpeg, path), facts);
  if (!first) return undefined;
  const rows: StoredRows = {
    strides: layout.planes.map((_, p) => Math.abs(first.strides[p]!)),
    lowestFirst: first.strides[0]! < 0,
  };
  const bytes = storedBytes(rows, layout, width, height);
  const file = openSync(path, 'r');
  try {
    const { size } = fstatSync(file);
    const isWhole = ({ at, bytes: own }: Pick<PacketPlace, 'at' | 'bytes'>): boolean =>
      own === first.bytes && own >= bytes && at >= 0 && at + bytes <= size;
    if (!isWhole(first)) return undefined;
    const picture = Buffer.allocUnsafe(bytes);
    readInto(file, first.at, picture);
    const stored = planesIn(picture, rows, layout, width, height);
    const decoded = planesOf(first.own, layout, width, height);
    if (stored.some((plane, p) => !plane.equals(decoded[p]!))) return undefined;
    return { at: packets.map((one) => (isWhole(one) ? one.at : null)), rows };
  } finally {
    closeSync(file);
  }
}

/** The first picture that FFmpeg decodes, a copy; where its packet lies; and the strides of the decoder, below 0 from the lowest row up. */
function firstPicture(
  ffmpeg: FfmpegBinding,
  clip: OpenClip,
  facts: ClipFacts,
): (Omit<PacketPlace, 'time'> & { readonly own: OwnFrame; readonly strides: readonly number[] }) | undefined {
  const codec = openDecoder(ffmpeg, clip, 1);
  const frame = new ffmpeg.Frame();
  frame.alloc();
  for (const packet of packetsOf(ffmpeg, clip)) {
    if (codec.sendPacketSync(packet) < 0 || codec.receiveFrameSync(frame) < 0) continue;
    if (!isAsAnnounced(ffmpeg, frame, facts)) return undefined;
    const own = frameLike(ffmpeg, frame);
    const strides = [...frame.linesize];
    if (own.frame.copy(frame) < 0) return undefined;
    return { at: Number(packet.pos), bytes: packet.size, own, strides };
  }
  return undefined;
}
