import type { SiteSettings } from './settings-types.js';
import { type ClockStamp, parseIsoStamp } from './time-text.js';
import { utcFromClock } from './time-zone.js';

/** Where a frame's moment comes from. `clip`: the clip's own clock; `declared`: the settings, as `start`. */
export type TimeSource = 'exif' | 'xmp' | 'fits' | 'png' | 'clip' | 'file' | 'declared';

/** The stamp of one frame, as its source recorded it; `undefined` when there is none. */
export interface FrameStamp {
  /** Path relative to the capture, with forward slashes. */
  readonly item: string;
  readonly recorded:
    | {
        readonly stamp: ClockStamp;
        readonly source: Exclude<TimeSource, 'declared'>;
        /** `taken`: when the exposure began. `changed`: when something was last changed. */
        readonly meaning: 'taken' | 'changed';
      }
    | undefined;
}

/** When the exposure of a frame began. */
export interface FrameTime {
  readonly item: string;
  /** ISO 8601 in UTC, with milliseconds; `undefined` when there is no stamp, or its zone is not known. */
  readonly utc: string | undefined;
  /**
   * Milliseconds on a clock that all frames of the pass share: UTC since 1970 where the zone is known, else the camera's
   * reading. Only differences mean something. `undefined` when there is no stamp that can be compared with the others.
   */
  readonly clockMs: number | undefined;
  readonly source: TimeSource | undefined;
  /**
   * How far off, in seconds, the moment can be if the clock and its zone were right. `undefined` when the stamp only says
   * when something was last changed: then nothing vouches for it.
   */
  readonly uncertaintyS: number | undefined;
}

/**
 * What is odd about the times of a pass:
 * - `time-missing`: the frame has no stamp of the kind that most frames have;
 * - `time-goes-back`: the stamp is earlier than that of the frame before;
 * - `time-changed-only`: stamps say when files were changed, not when they were exposed;
 * - `zone-unknown`: neither stamps nor settings say in which zone the clock was;
 * - `zone-doubtful`: the clock showed this twice, or never, because it was put back or forward that night.
 */
export type TimeOddity = 'time-missing' | 'time-goes-back' | 'time-changed-only' | 'zone-unknown' | 'zone-doubtful';

/** Times of a pass, one a frame and in their order, and what is odd about them. */
export interface ResolvedTimes {
  readonly times: readonly FrameTime[];
  /** What concerns all frames names the first one. */
  readonly oddities: readonly { readonly item: string; readonly reason: TimeOddity; readonly detail: string }[];
}

/** What settings say of the clock. */
export interface TimeSettings {
  readonly site?: Pick<SiteSettings, 'timeZone' | 'clockOffsetS'>;
  /** When the first frame began, ISO 8601; without a zone it is in the site's. */
  readonly start?: string;
}

/**
 * Moments of a pass's frames, given in frame order.
 *
 * Frames are compared by one kind of stamp: that of the exposure if at least half of them have it, else that of the last
 * change, else that of the file. The settings' clock offset is added to all. A stamp's own zone comes first, then the
 * settings', as it was when the pass began: a camera does not put its clock back within a pass. A stamp in whole seconds stands for the second that begins with it, so its moment is in the middle; n frames
 * in a row with the same one lie at (i + 1/2) / n of it. Where no frame of the pass has decimals other than 0, stamps are
 * in whole seconds whatever their form. With `start` the stamps only tell how far frames lie apart.
 */
export function resolveTimes(frames: readonly FrameStamp[], settings: TimeSettings = {}): ResolvedTimes {
  const oddities: ResolvedTimes['oddities'][number][] = [];
  const note = (item: string, reason: TimeOddity, detail: string): unknown => oddities.push({ item, reason, detail });
  const kind = commonKind(frames);
  const used = frames.map(({ recorded }) =>
    recorded !== undefined && kindOf(recorded) === kind ? recorded : undefined,
  );
  const clocks = spread(used.map((recorded) => recorded?.stamp));
  const offsetMs = (settings.site?.clockOffsetS ?? 0) * 1000;
  const zone = settings.site?.timeZone;
  const open = used.findIndex((recorded) => recorded !== undefined && recorded.stamp.offsetMin === undefined);
  const passZone = open < 0 || zone === undefined ? undefined : zoneAt(clocks[open]!.clockMs + offsetMs, zone);
  if (passZone?.doubtful) {
    note(frames[open]!.item, 'zone-doubtful', `In ${zone} the clock was put back or forward here.`);
  }
  const moments = used.map((recorded, i): Moment | undefined => {
    if (recorded === undefined) return undefined;
    const readMs = clocks[i]!.clockMs + offsetMs;
    const { offsetMin } = recorded.stamp;
    const aheadMs = offsetMin === undefined ? passZone?.aheadMs : offsetMin * 60_000;
    return {
      readMs,
      utcMs: aheadMs === undefined ? undefined : readMs - aheadMs,
      source: recorded.source,
      uncertaintyS: recorded.meaning === 'taken' ? clocks[i]!.halfS : undefined,
    };
  });

  const anchored = settings.start === undefined ? moments : declare(moments, settings.start, zone);
  const given = anchored.filter((moment) => moment !== undefined);
  const allInUtc = given.every(({ utcMs }) => utcMs !== undefined);
  const times = anchored.map((moment, i) => timeOf(frames[i]!.item, moment, allInUtc));
  const first = frames[0]?.item ?? '';
  if (given.length > 0 && !allInUtc) {
    note(
      first,
      'zone-unknown',
      'The stamps do not say in which zone the clock was; set site.timeZone in capture.yaml.',
    );
  }
  if (kind !== undefined && kind !== 'taken') {
    note(first, 'time-changed-only', 'No stamp says when frames were exposed, only when files were last changed.');
  }
  let before: FrameTime | undefined;
  for (const time of times) {
    if (time.clockMs === undefined) {
      if (kind !== undefined) note(time.item, 'time-missing', 'It has no stamp of the kind that most frames have.');
      continue;
    }
    const backS = ((before?.clockMs ?? time.clockMs) - time.clockMs) / 1000;
    if (backS > 0) note(time.item, 'time-goes-back', `It is ${backS.toFixed(3)} s earlier than ${before!.item}.`);
    before = time;
  }
  return { times, oddities };
}

interface Moment {
  /** The clock's reading, its offset added. */
  readonly readMs: number;
  readonly utcMs: number | undefined;
  readonly source: TimeSource;
  readonly uncertaintyS: number | undefined;
}

type Recorded = NonNullable<FrameStamp['recorded']>;
type Kind = 'taken' | 'changed' | 'file';

function kindOf({ source, meaning }: Recorded): Kind {
  return source === 'file' ? 'file' : meaning;
}

function commonKind(frames: readonly FrameStamp[]): Kind | undefined {
  const count = (kind: Kind): number => frames.filter(({ recorded }) => recorded && kindOf(recorded) === kind).length;
  const kinds: readonly Kind[] = ['taken', 'changed', 'file'];
  const most = Math.max(...kinds.map(count));
  return most === 0
    ? undefined
    : (kinds.find((kind) => 2 * count(kind) >= frames.length) ?? kinds.find((kind) => count(kind) === most));
}

/** What each stamp stands for, and how far off it can be. */
function spread(stamps: readonly (ClockStamp | undefined)[]): ({ clockMs: number; halfS: number } | undefined)[] {
  const coarse = stamps.every((stamp) => stamp === undefined || stamp.clockMs % 1000 === 0);
  const result: ({ clockMs: number; halfS: number } | undefined)[] = [];
  for (let first = 0; first < stamps.length; ) {
    const stamp = stamps[first];
    let end = first + 1;
    while (end < stamps.length && stamps[end]?.clockMs === stamp?.clockMs) end++;
    const stepS = Math.max(stamp?.stepS ?? 0, coarse ? 1 : 0);
    for (let i = first; i < end; i++) {
      const share = (i - first + 0.5) / (end - first);
      const spreads = stepS >= 1;
      result.push(
        stamp && {
          clockMs: stamp.clockMs + (spreads ? 1000 * stepS * share : 0),
          // It lies somewhere in its second: as far off as the further end.
          halfS: stepS * (spreads ? Math.max(share, 1 - share) : 0.5),
        },
      );
    }
    first = end;
  }
  return result;
}

/** How far ahead of UTC a zone's clock was when it showed this. */
function zoneAt(clockMs: number, zone: string): { aheadMs: number; doubtful: boolean } {
  const { utcMs, doubtful } = utcFromClock(clockMs, zone);
  return { aheadMs: clockMs - utcMs, doubtful };
}

/** Moments counted from a declared start of the first frame. Without a stamp on it, only that one has a moment. */
function declare(
  moments: readonly (Moment | undefined)[],
  start: string,
  zone: string | undefined,
): (Moment | undefined)[] {
  const stamp = parseIsoStamp(start);
  if (stamp === undefined) return [...moments];
  const ownMs = stamp.offsetMin === undefined ? undefined : stamp.offsetMin * 60_000;
  const aheadMs = ownMs ?? (zone === undefined ? undefined : zoneAt(stamp.clockMs, zone).aheadMs);
  const startMs = aheadMs === undefined ? undefined : stamp.clockMs - aheadMs;
  const ownS = stamp.stepS / 2;
  const first = moments[0];
  return moments.map((moment, i) => {
    if (i === 0) return { readMs: stamp.clockMs, utcMs: startMs, source: 'declared', uncertaintyS: ownS };
    if (moment === undefined || first === undefined) return undefined;
    const inBoth = moment.utcMs !== undefined && first.utcMs !== undefined;
    const sinceMs = inBoth ? moment.utcMs! - first.utcMs! : moment.readMs - first.readMs;
    // Both stamps, and the start itself, may be off.
    const offS = ownS + (moment.uncertaintyS ?? Number.NaN) + (first.uncertaintyS ?? Number.NaN);
    const uncertaintyS = Number.isNaN(offS) ? undefined : offS;
    return {
      readMs: stamp.clockMs + sinceMs,
      utcMs: startMs === undefined ? undefined : startMs + sinceMs,
      source: 'declared',
      uncertaintyS,
    };
  });
}

function timeOf(item: string, moment: Moment | undefined, allInUtc: boolean): FrameTime {
  if (moment === undefined)
    return { item, utc: undefined, clockMs: undefined, source: undefined, uncertaintyS: undefined };
  const { readMs, utcMs, source, uncertaintyS } = moment;
  const utc = utcMs === undefined ? undefined : new Date(Math.round(utcMs)).toISOString();
  return { item, utc, clockMs: allInUtc ? utcMs : readMs, source, uncertaintyS };
}
