import { writeSync } from 'node:fs';
import type { FfmpegBinding, Packet } from './clip-binding.js';
import { frameLike, isAsAnnounced, type OwnFrame, openDecoder, planesOf } from './clip-decoder.js';
import type { ClipRequest } from './clip-facts.js';
import { frameBytes, layoutOf } from './clip-layout.js';
import { type OpenClip, packetsOf } from './clip-open.js';

/** FFmpeg's answer when what is decoded has to be taken away first. */
const TAKE_AWAY_FIRST = -11;
/** Set in a frame's flags where its data is known to be wrong. */
const CORRUPT = 1;

/**
 * Decodes a clip from its first packet to its last and writes every picture to its place in `file`. A picture that has another
 * size or layout than the first is passed over. Throws a plain `Error` when no decoder can be had.
 */
export function decodePictures(
  ffmpeg: FfmpegBinding,
  clip: OpenClip,
  { facts, threads }: Extract<ClipRequest, { kind: 'pictures' }>,
  file: number,
  onPicture: (index: number, faulty: boolean) => void,
): void {
  const layout = layoutOf(facts.pixelFormat)!;
  const bytes = frameBytes(layout, facts.widthPx, facts.heightPx);
  const places = facts.times && new Map(facts.times.map((time, index) => [time, index]));
  const codec = openDecoder(ffmpeg, clip, threads);
  const frame = new ffmpeg.Frame();
  frame.alloc();
  let own: OwnFrame | undefined;
  let order = 0;
  const take = (): void => {
    while (codec.receiveFrameSync(frame) >= 0) {
      const index = places ? places.get(Number(frame.bestEffortTimestamp ?? -1n)) : order;
      order++;
      if (isAsAnnounced(ffmpeg, frame, facts) && index !== undefined && index < facts.count) {
        own ??= frameLike(ffmpeg, frame);
        if (own.frame.copy(frame) < 0) throw new Error('a picture cannot be copied');
        let to = index * bytes;
        for (const plane of planesOf(own, layout, facts.widthPx, facts.heightPx)) to += writeAt(file, plane, to);
        onPicture(index, frame.decodeErrorFlags !== 0 || (frame.flags & CORRUPT) !== 0);
      }
      frame.unref();
    }
  };
  const send = (packet: Packet | null): void => {
    while (codec.sendPacketSync(packet) === TAKE_AWAY_FIRST) take();
    take();
  };
  for (const packet of packetsOf(ffmpeg, clip)) send(packet);
  send(null);
}

function writeAt(file: number, bytes: Buffer, at: number): number {
  for (let done = 0; done < bytes.length; ) done += writeSync(file, bytes, done, bytes.length - done, at + done);
  return bytes.length;
}
