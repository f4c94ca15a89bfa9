import type { FfmpegBinding, FormatContext, Packet, Stream } from './clip-binding.js';
import type { ClipFacts } from './clip-facts.js';
import { CONTAINERS, SILENT_PACKETS } from './clip-limits.js';

/** Picture that belongs to a file rather than to a clip: a cover. */
const ATTACHED_PICTURE = 0x400;
/** The packet is only there to decode others from. */
const DISCARDED = 4;
/** Side data that holds the matrix by which pictures are to be shown. */
const DISPLAY_MATRIX = 5;

/** An opened clip and the stream of its pictures. */
export interface OpenClip {
  readonly context: FormatContext;
  readonly stream: Stream;
}

/** Opens a clip; nothing else that its file names is touched. Throws a plain `Error`. */
export function openClip(ffmpeg: FfmpegBinding, path: string): OpenClip {
  ffmpeg.Log.setLevel(QUIET);
  const options = new ffmpeg.Dictionary();
  options.alloc();
  options.set('protocol_whitelist', 'file', 0);
  options.set('format_whitelist', CONTAINERS, 0);
  const context = new ffmpeg.FormatContext();
  context.allocContext();
  if (context.openInputSync(`file:${path}`, null, options) < 0)
    throw new Error('its index cannot be read: it is cut short or damaged');
  if (context.findStreamInfoSync(null) < 0) throw new Error('nothing tells how its pictures are stored');
  const stream = context.streams.find((s) => s.codecpar.codecType === 0 && (s.disposition & ATTACHED_PICTURE) === 0);
  if (!stream) throw new Error('it holds no pictures');
  return { context, stream };
}

const QUIET = -8;

/** Goes through the packets of a clip without decoding one, and says what there is. Throws a plain `Error`. */
export function factsOf(ffmpeg: FfmpegBinding, { context, stream }: OpenClip, alive: () => void): ClipFacts {
  const { codecpar } = stream;
  const times: number[] = [];
  let [count, untimed] = [0, 0];
  forEachPacket(ffmpeg, { context, stream }, (packet) => {
    if (count % SILENT_PACKETS === 0) alive();
    if (packet.flags & DISCARDED) return;
    count++;
    if (packet.pts === null || packet.pts < LEAST_TIME) untimed++;
    else times.push(Number(packet.pts));
  });
  times.sort((a, b) => a - b);
  const distinct = times.every((time, i) => i === 0 || time > times[i - 1]!);
  const { num, den } = stream.sampleAspectRatio;
  return {
    widthPx: codecpar.width,
    heightPx: codecpar.height,
    container: context.iformat.name,
    codec: ffmpeg.avGetCodecName(codecpar.codecId) ?? 'unknown',
    pixelFormat: ffmpeg.avGetPixFmtName(codecpar.format) ?? 'unknown',
    primaries: codecpar.colorPrimaries,
    transfer: codecpar.colorTrc,
    matrix: codecpar.colorSpace,
    range: codecpar.colorRange,
    chromaSite: codecpar.chromaLocation,
    turnDeg: turnOf(codecpar.getCodedSideData(DISPLAY_MATRIX)),
    pixelAspect: num > 0 && den > 0 ? num / den : 1,
    interlaced: (codecpar.toJSON().fieldOrder ?? 0) > PROGRESSIVE,
    times: untimed === 0 && distinct ? times : null,
    tick: stream.timeBase.num / stream.timeBase.den,
    created: wordOf('creation_time', stream, context),
    timeCode: wordOf('timecode', stream, context),
    count,
    announced: announcedBy(context, stream),
  };
}

function wordOf(name: string, ...places: readonly Pick<Stream, 'metadata'>[]): string | null {
  for (const { metadata } of places) {
    const found = metadata?.getAll()[name];
    if (found !== undefined) return found;
  }
  return null;
}

/** Of its index, or else of its length and rate. */
function announcedBy({ duration }: FormatContext, { nbFrames, avgFrameRate: { num, den } }: Stream): number {
  if (nbFrames > 0n) return Number(nbFrames);
  return duration > 0n && num > 0 && den > 0 ? Math.round((Number(duration) / 1e6) * (num / den)) : 0;
}

/** Stands for a time that is not known. */
const LEAST_TIME = -(2n ** 62n);
/** FFmpeg's field order: 0 not known, 1 progressive, above it four ways of interlacing. */
const PROGRESSIVE = 1;

/** Calls back with every packet of the clip's stream. */
export function forEachPacket(
  ffmpeg: FfmpegBinding,
  { context, stream }: OpenClip,
  visit: (packet: Packet) => void,
): void {
  const packet = new ffmpeg.Packet();
  packet.alloc();
  while (context.readFrameSync(packet) >= 0) {
    if (packet.streamIndex === stream.index) visit(packet);
    packet.unref();
  }
}

/** Clockwise turn to the next right angle of a display matrix: 3 x 3 fixed-point numbers, ISO/IEC 14496-12 section 8.3.2. */
function turnOf(found: { readonly data: Buffer } | Buffer | null): number {
  const bytes = found && (Buffer.isBuffer(found) ? found : found.data);
  if (!bytes || bytes.length < 36) return 0;
  const degrees = (Math.atan2(bytes.readInt32LE(4), bytes.readInt32LE(0)) * 180) / Math.PI;
  return (((Math.round(degrees / 90) * 90) % 360) + 360) % 360;
}
