import { execFileSync, spawn } from 'node:child_process';
import { closeSync, ftruncateSync, openSync, readSync, writeSync } from 'node:fs';
import { createInterface } from 'node:readline';
import type { Readable } from 'node:stream';
import type { ClipFacts, ClipRequest } from './clip-facts.js';
import { frameBytes, layoutOf } from './clip-layout.js';
import { CONTAINERS, DISCARDED_MARK, SILENT_PACKETS } from './clip-limits.js';
import { codePointsOf, type NamedColour } from './clip-names.js';

/** Whether FFmpeg's programs can be run: they stand in where its libraries are not installed. */
export function isOnPath(): boolean {
  try {
    for (const program of ['ffmpeg', 'ffprobe']) execFileSync(program, ['-version'], { stdio: 'ignore' });
    return true;
  } catch {
    return false;
  }
}

/** Nothing else that a file names is touched; the first stream of pictures that is no cover is meant. */
const inputOf = (path: string): string[] => [
  ...['-protocol_whitelist', 'file,pipe', '-format_whitelist', CONTAINERS],
  ...['-i', `file:${path}`],
];

/** What a clip says of itself, by FFmpeg's programs; no picture is decoded. Throws a plain `Error`. */
export async function factsOnPath(path: string, alive: () => void): Promise<ClipFacts> {
  const { stream, format } = describe(path);
  const times: number[] = [];
  let [count, untimed] = [0, 0];
  const asked = ['-show_entries', 'packet=pts,flags', '-of', 'csv=p=0'];
  await linesOf('ffprobe', ['-v', 'quiet', '-select_streams', 'V:0', ...asked, ...inputOf(path)], (line) => {
    const [pts, flags = ''] = line.split(',');
    if (flags.includes(DISCARDED_MARK)) return;
    if (count++ % SILENT_PACKETS === 0) alive();
    if (/^-?\d+$/.test(pts!)) times.push(Number(pts));
    else untimed++;
  });
  times.sort((a, b) => a - b);
  const distinct = times.every((time, i) => i === 0 || time > times[i - 1]!);
  const [across, down] = ratio(stream.sample_aspect_ratio?.replace(':', '/'));
  const turn = stream.side_data_list?.find(({ rotation }) => rotation !== undefined)?.rotation ?? 0;
  const word = (name: string): string | null => stream.tags?.[name] ?? format.tags?.[name] ?? null;
  const [num, den] = ratio(stream.time_base);
  return {
    widthPx: stream.width,
    heightPx: stream.height,
    container: format.format_name,
    codec: stream.codec_name ?? 'unknown',
    pixelFormat: stream.pix_fmt ?? 'unknown',
    ...codePointsOf(stream),
    turnDeg: (((Math.round(-turn / 90) * 90) % 360) + 360) % 360,
    pixelAspect: across > 0 && down > 0 ? across / down : 1,
    interlaced: !['progressive', 'unknown', undefined].includes(stream.field_order),
    times: untimed === 0 && distinct ? times : null,
    tick: num / den,
    created: word('creation_time'),
    timeCode: word('timecode'),
    count,
    announced: announcedBy(stream, format),
  };
}

/** What `ffprobe` says of a stream and of its file, as far as it is used. */
interface Described {
  readonly stream: {
    readonly width: number;
    readonly height: number;
    readonly codec_name?: string;
    readonly pix_fmt?: string;
    readonly field_order?: string;
    readonly time_base: string;
    readonly avg_frame_rate?: string;
    readonly nb_frames?: string;
    readonly sample_aspect_ratio?: string;
    readonly side_data_list?: readonly { readonly rotation?: number }[];
    readonly tags?: Readonly<Record<string, string>>;
  } & NamedColour;
  readonly format: {
    readonly format_name: string;
    readonly duration?: string;
    readonly tags?: Readonly<Record<string, string>>;
  };
}

function describe(path: string): Described {
  const asked = ['-v', 'quiet', '-select_streams', 'V:0', '-show_streams', '-show_format', '-of', 'json'];
  let said: { readonly streams?: readonly Described['stream'][]; readonly format?: Described['format'] };
  try {
    said = JSON.parse(execFileSync('ffprobe', [...asked, ...inputOf(path)], { encoding: 'utf8', maxBuffer: 2 ** 26 }));
  } catch {
    throw new Error('its index cannot be read: it is cut short or damaged');
  }
  const [stream] = said.streams ?? [];
  if (!stream || !said.format) throw new Error('it holds no pictures');
  return { stream, format: said.format };
}

function announcedBy({ nb_frames, avg_frame_rate }: Described['stream'], { duration }: Described['format']): number {
  if (Number(nb_frames) > 0) return Number(nb_frames);
  const [num, den] = ratio(avg_frame_rate);
  return Number(duration) > 0 && num > 0 && den > 0 ? Math.round(Number(duration) * (num / den)) : 0;
}

function ratio(text: string | undefined): [number, number] {
  const [num = 0, den = 0] = (text ?? '').split('/').map(Number);
  return [num, den];
}

/**
 * Decodes a clip by `ffmpeg` into a file, and puts every picture into its place by its time. A picture that a damaged clip
 * does not give leaves its place empty; the program does not tell which of those that it gives are faulty.
 */
export async function picturesOnPath(
  { path, facts, threads, into }: Extract<ClipRequest, { kind: 'pictures' }>,
  onPicture: (index: number) => void,
): Promise<void> {
  const layout = layoutOf(facts.pixelFormat)!;
  const bytes = frameBytes(layout, facts.widthPx, facts.heightPx);
  const pixels = facts.pixelFormat.replace(/^yuva/, 'yuv').replace(/^gbrap/, 'gbrp');
  const byTime = facts.times && new Map(facts.times.map((time, index) => [time, index]));
  const places: number[] = [];
  let tick = Number.NaN;
  const decode = ['-nostdin', '-v', 'quiet', '-noautorotate', '-threads', String(threads), ...inputOf(path)];
  const picture = ['-map', '0:V:0', '-fps_mode', 'passthrough', '-enc_time_base', '-1', '-pix_fmt', pixels];
  const outputs = [...picture, '-f', 'rawvideo', '-y', `file:${into}`, ...picture, '-f', 'framecrc', 'pipe:1'];
  await linesOf('ffmpeg', [...decode, ...outputs], (line) => {
    const base = /^#tb 0: (\d+)\/(\d+)/.exec(line);
    if (base) tick = Number(base[1]) / Number(base[2]);
    if (line.startsWith('#')) return;
    const seconds = Number(line.split(',')[2]) * tick;
    const index = byTime ? (byTime.get(Math.round(seconds / facts.tick)) ?? -1) : places.length;
    places.push(index);
    if (index >= 0 && index < facts.count) onPicture(index);
  });
  putInPlace(into, bytes, places, facts.count);
}

/** Moves pictures, which came one after the other, to where they belong, from the last one on. */
function putInPlace(path: string, bytes: number, places: readonly number[], count: number): void {
  const file = openSync(path, 'r+');
  try {
    const picture = Buffer.allocUnsafe(bytes);
    for (const [position, index] of [...places.entries()].reverse()) {
      if (index === position || index < 0 || index >= count) continue;
      readSync(file, picture, 0, bytes, position * bytes);
      writeSync(file, picture, 0, bytes, index * bytes);
    }
    ftruncateSync(file, bytes * count);
  } finally {
    closeSync(file);
  }
}

/** Runs a program and hands on the lines that it writes; what its end says does not matter, since damaged clips end badly. */
async function linesOf(program: string, args: readonly string[], onLine: (line: string) => void): Promise<void> {
  const child = spawn(program, args, { stdio: ['ignore', 'pipe', 'ignore'] });
  const ended = new Promise<void>((resolve, reject) => {
    child.on('error', reject);
    child.on('close', () => resolve());
  });
  for await (const line of createInterface({ input: child.stdout as Readable })) onLine(line);
  await ended;
}
