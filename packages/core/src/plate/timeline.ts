import { basename, posix, relative, sep } from 'node:path';
import type { Capture, ClipPass, FrameFile, Pass } from '../capture/pass.js';

/** Frames a second of the plate on a timeline, and of a pass whose cadence is not known. */
const ASSUMED_RATE = 24;
/** A cadence is known when its times are off by no more than this share of the time from the first frame to the last. */
const MOST_OFF = 0.1;
/** For how long the plate stands, seconds. */
const PLATE_S = 10;

/**
 * A timeline in OpenTimelineIO's JSON (Timeline.1, Clip.2): the plate on a track of its own, and below it the passes one after
 * the other, clips as files, stills as numbered sequences where their names count up one by one, else one by one. Every
 * picture is named by its way from the folder of the timeline, so that the folder can be moved together with the capture.
 * A pass runs at its mean cadence, so that it lasts as long as it did that night, wherever times tell it; elsewhere at
 * {@link ASSUMED_RATE}, which the metadata of its clips says.
 *
 * @param outDir folder of the plate and the timeline, absolute
 */
export function timelineText(capture: Capture, outDir: string, platePath: string): string {
  const passes = capture.passes.flatMap((pass) => clipsOf(pass, outDir));
  const plate = clip(basename(platePath), external(urlOf(outDir, platePath), PLATE_S * ASSUMED_RATE, ASSUMED_RATE));
  const timeline = {
    OTIO_SCHEMA: 'Timeline.1',
    metadata: {},
    name: capture.name,
    global_start_time: null,
    tracks: {
      OTIO_SCHEMA: 'Stack.1',
      metadata: {},
      name: 'tracks',
      source_range: null,
      effects: [],
      markers: [],
      enabled: true,
      children: [track('passes', passes), track('plate', [plate])],
    },
  };
  return `${JSON.stringify(timeline, null, 1)}\n`;
}

function track(name: string, children: readonly object[]): object {
  return {
    ...{ OTIO_SCHEMA: 'Track.1', metadata: {}, name, source_range: null, effects: [], markers: [] },
    ...{ enabled: true, kind: 'Video', children },
  };
}

function clipsOf(pass: Pass, outDir: string): object[] {
  const known = pass.kind === 'clip' ? clipRate(pass) : stillsRate(pass.frames);
  const rate = known ?? ASSUMED_RATE;
  const metadata = known === undefined ? { plenilune: { rate: 'assumed', reason: UNKNOWN } } : {};
  if (pass.kind === 'clip') {
    const url = urlOf(outDir, pass.frames[0]!.path);
    return [clip(pass.name, external(url, pass.clip.count, rate), metadata)];
  }
  const sequence = sequenceOf(pass.frames, outDir, rate);
  if (sequence) return [clip(pass.name, sequence, metadata)];
  return pass.frames.map(({ item, path }) => clip(item, external(urlOf(outDir, path), 1, rate), metadata));
}

const UNKNOWN = 'the times of its frames do not tell how many there were in a second';

function clip(name: string, media: object, metadata: object = {}): object {
  return {
    ...{ OTIO_SCHEMA: 'Clip.2', metadata, name, source_range: null, effects: [], markers: [], enabled: true },
    ...{ media_references: { DEFAULT_MEDIA: media }, active_media_reference_key: 'DEFAULT_MEDIA' },
  };
}

function external(url: string, frames: number, rate: number): object {
  return {
    ...{ OTIO_SCHEMA: 'ExternalReference.1', metadata: {}, name: '', target_url: url },
    ...{ available_range: rangeOf(0, frames, rate), available_image_bounds: null },
  };
}

/** A sequence reference where names differ in one number that counts up by 1; undefined elsewhere. */
function sequenceOf(frames: readonly FrameFile[], outDir: string, rate: number): object | undefined {
  const parts = frames.map(({ path }) => /^(.*?)(\d+)(\.[^.\d]*)$/.exec(basename(path)));
  const first = parts[0];
  if (!first) return undefined;
  const [, prefix, digits, suffix] = first as unknown as [string, string, string, string];
  const start = Number(digits);
  const counts = parts.every((part, k) => {
    if (!part || part[1] !== prefix || part[3] !== suffix) return false;
    return part[2] === String(start + k).padStart(digits.length, '0');
  });
  if (!counts) return undefined;
  const folder = urlOf(outDir, frames[0]!.path).slice(0, -encodeURIComponent(basename(frames[0]!.path)).length);
  return {
    ...{ OTIO_SCHEMA: 'ImageSequenceReference.1', metadata: {}, name: '' },
    ...{ available_range: rangeOf(start, frames.length, rate), available_image_bounds: null },
    ...{ target_url_base: folder, name_prefix: prefix, name_suffix: suffix },
    ...{ start_frame: start, frame_step: 1, rate },
    ...{ frame_zero_padding: digits.length, missing_frame_policy: 'error' },
  };
}

function rangeOf(start: number, frames: number, rate: number): object {
  const time = (value: number): object => ({ OTIO_SCHEMA: 'RationalTime.1', rate, value });
  return { OTIO_SCHEMA: 'TimeRange.1', start_time: time(start), duration: time(frames) };
}

/** Pictures a second of a clip, as it says. */
function clipRate({ clip: { times, tick, count } }: ClipPass): number | undefined {
  if (times === null || times.length < 2 || count < 2) return undefined;
  return rateOf(times.length - 1, (times.at(-1)! - times[0]!) * tick);
}

/** Stills a second, from the first moment to the last one; of moments that something vouches for, and never go back. */
function stillsRate(frames: readonly FrameFile[]): number | undefined {
  const moments = frames.flatMap(({ time }, index) =>
    time?.clockMs === undefined || time.uncertaintyS === undefined
      ? []
      : [{ index, seconds: time.clockMs / 1000, offS: time.uncertaintyS }],
  );
  const [first, last] = [moments[0], moments.at(-1)];
  if (!first || !last || moments.some(({ seconds }, k) => seconds < moments[Math.max(0, k - 1)]!.seconds))
    return undefined;
  const seconds = last.seconds - first.seconds;
  return first.offS + last.offS > MOST_OFF * seconds ? undefined : rateOf(last.index - first.index, seconds);
}

function rateOf(steps: number, seconds: number): number | undefined {
  return seconds > 0 ? Math.round((1e6 * steps) / seconds) / 1e6 : undefined;
}

/** The way from a folder to a file as a relative URL. */
function urlOf(from: string, path: string): string {
  const way = relative(from, path).split(sep);
  return posix.join(...way.map((name) => encodeURIComponent(name)));
}
