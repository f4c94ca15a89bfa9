import { writeSync } from 'node:fs';
import type { CodecContext, FfmpegBinding, Frame, Packet } from './clip-binding.js';
import type { ClipFacts, ClipRequest } from './clip-facts.js';
import { type ClipLayout, frameBytes, layoutOf, planeSize } from './clip-layout.js';
import { forEachPacket, type OpenClip } from './clip-open.js';

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
      const alike =
        frame.width === facts.widthPx &&
        frame.height === facts.heightPx &&
        ffmpeg.avGetPixFmtName(frame.format) === facts.pixelFormat;
      if (alike && index !== undefined && index < facts.count) {
        own ??= frameLike(ffmpeg, frame);
        if (own.frame.copy(frame) < 0) throw new Error('a picture cannot be copied');
        writePicture(file, index * bytes, own, facts, layout);
        onPicture(index, frame.decodeErrorFlags !== 0 || (frame.flags & CORRUPT) !== 0);
      }
      frame.unref();
    }
  };
  const send = (packet: Packet | null): void => {
    while (codec.sendPacketSync(packet) === TAKE_AWAY_FIRST) take();
    take();
  };
  forEachPacket(ffmpeg, clip, send);
  send(null);
}

function openDecoder(ffmpeg: FfmpegBinding, { stream }: OpenClip, threads: number): CodecContext {
  const { codecpar, timeBase } = stream;
  const name = ffmpeg.avGetCodecName(codecpar.codecId) ?? 'unknown';
  const decoder = ffmpeg.Codec.findDecoder(codecpar.codecId);
  if (!decoder) throw new Error(`nothing here decodes its codec, ${name}`);
  const codec = new ffmpeg.CodecContext();
  codec.allocContext3(decoder);
  codec.parametersToContext(codecpar);
  codec.threadCount = threads;
  codec.pktTimebase = timeBase;
  if (codec.open2Sync(decoder, null) < 0) throw new Error(`the decoder of its codec, ${name}, does not take it`);
  return codec;
}

/**
 * A frame of our own, top row first, that pictures are copied into. A decoder's own memory is not looked at: it would be held
 * until the next collection of garbage, which a loop without a pause never sees, and some codecs keep the lowest row first.
 */
function frameLike(ffmpeg: FfmpegBinding, { width, height, format }: Frame): OwnFrame {
  const frame = new ffmpeg.Frame();
  frame.alloc();
  Object.assign(frame, { width, height, format });
  if (frame.getBuffer(0) < 0) throw new Error('there is no memory for a picture');
  return { frame, planes: frame.data!, strides: frame.linesize };
}

interface OwnFrame {
  readonly frame: Frame;
  readonly planes: readonly Buffer[];
  readonly strides: readonly number[];
}

/** Writes the planes that are kept, without the gaps at the ends of their rows. */
function writePicture(
  file: number,
  at: number,
  { planes, strides }: OwnFrame,
  size: ClipFacts,
  layout: ClipLayout,
): void {
  let to = at;
  layout.planes.forEach((_, p) => {
    const [samples, rows] = planeSize(layout, p, size.widthPx, size.heightPx);
    const wanted = samples * layout.bytes;
    const stride = strides[p]!;
    const plane = planes[p]!;
    const tight = stride === wanted ? plane.subarray(0, wanted * rows) : Buffer.allocUnsafe(wanted * rows);
    if (stride !== wanted) {
      for (let y = 0; y < rows; y++) plane.copy(tight, y * wanted, y * stride, y * stride + wanted);
    }
    for (let done = 0; done < tight.length; ) done += writeSync(file, tight, done, tight.length - done, to + done);
    to += tight.length;
  });
}
