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

/** Where a packet lies in its file, and its time in units of the file; null where it has none. */
export interface PacketPlace {
  readonly time: number | null;
  readonly at: number;
  readonly bytes: number;
}

/** Goes through the packets of a clip without decoding one, and says what there is; packets by time, where each has one. Throws a plain `Error`. */
export function factsOf(
  ffmpeg: FfmpegBinding,
  { context, stream }: OpenClip,
  alive: () => void,
): { readonly facts: ClipFacts; readonly packets: readonly PacketPlace[] } {
  const { codecpar } = stream;
  const packets: PacketPlace[] = [];
  for (const { flags, pts, pos, size } of packetsOf(ffmpeg, { context, stream })) {
    if (packets.length % SILENT_PACKETS === 0) alive();
    if (flags & DISCARDED) continue;
    packets.push({ time: pts === null || pts < LEAST_TIME ? null : Number(pts), at: Number(pos), bytes: size });
  }
  const isTimed = packets.every(({ time }) => time !== null);
  if (isTimed) packets.sort((a, b) => a.time! - b.time!);
  const distinct = packets.every(({ time }, i) => i === 0 || time! > packets[i - 1]!.time!);
  const { num, den } = stream.sampleAspectRatio;
  const facts: ClipFacts = {
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
    times: isTimed && distinct ? packets.map(({ time }) => time!) : null,
    tick: stream.timeBase.num / stream.timeBase.den,
    created: wordOf('creation_time', stream, context),
    timeCode: wordOf('timecode', stream, context),
    count: packets.length,
    announced: announcedBy(context, stream),
  };
  return { facts, packets };
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

/** The packets of the clip's stream, each until the next is asked for. */
export function* packetsOf(ffmpeg: FfmpegBinding, { context, stream }: OpenClip): Generator<Packet> {
  const packet = new ffmpeg.Packet();
  packet.alloc();
  while (context.readFrameSync(packet) >= 0) {
    if (packet.streamIndex === stream.index) yield packet;
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
