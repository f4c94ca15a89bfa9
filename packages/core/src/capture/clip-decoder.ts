import type { CodecContext, FfmpegBinding, Frame } from './clip-binding.js';
import type { ClipFacts } from './clip-facts.js';
import { type ClipLayout, planeSize } from './clip-layout.js';
import type { OpenClip } from './clip-open.js';
import { tightPlane } from './clip-rows.js';

/** Opens the decoder of a clip. Throws a plain `Error` when none can be had. */
export function openDecoder(ffmpeg: FfmpegBinding, { stream }: OpenClip, threads: number): CodecContext {
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

/** Whether a frame has the size and the layout that the clip announces. */
export function isAsAnnounced(ffmpeg: FfmpegBinding, frame: Frame, facts: ClipFacts): boolean {
  return (
    frame.width === facts.widthPx &&
    frame.height === facts.heightPx &&
    ffmpeg.avGetPixFmtName(frame.format) === facts.pixelFormat
  );
}

/** A frame of our own that pictures are copied into, top row first. */
export interface OwnFrame {
  readonly frame: Frame;
  readonly planes: readonly Buffer[];
  readonly strides: readonly number[];
}

/**
 * Takes memory for frames like one of a decoder's. A decoder's own memory is not looked at: it would be held until the next
 * collection of garbage, which a loop without a pause never sees, and some codecs keep the lowest row first.
 */
export function frameLike(ffmpeg: FfmpegBinding, { width, height, format }: Frame): OwnFrame {
  const frame = new ffmpeg.Frame();
  frame.alloc();
  Object.assign(frame, { width, height, format });
  if (frame.getBuffer(0) < 0) throw new Error('there is no memory for a picture');
  return { frame, planes: frame.data!, strides: frame.linesize };
}

/** The planes that are kept of a frame, without the gaps at the ends of their rows. */
export function planesOf({ planes, strides }: OwnFrame, layout: ClipLayout, width: number, height: number): Buffer[] {
  return layout.planes.map((_, p) => {
    const [samples, rows] = planeSize(layout, p, width, height);
    return tightPlane(planes[p]!, strides[p]!, samples * layout.bytes, rows, false);
  });
}
