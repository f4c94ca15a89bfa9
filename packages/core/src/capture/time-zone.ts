import { parseOffsetMin } from './time-text.js';

/** Whether a text names a zone: an offset from UTC, or a name of the IANA time zone database. */
export function isTimeZone(text: string): boolean {
  return parseOffsetMin(text) !== undefined || formatterOf(text) !== undefined;
}

/** A moment that a clock in some zone showed. */
export interface ZonedMoment {
  /** Milliseconds since 1970, UTC. */
  readonly utcMs: number;
  /** Whether the clock showed this twice that night, or never, because it was put back or forward. */
  readonly doubtful: boolean;
}

/**
 * UTC of a clock's reading (milliseconds since 1970 as if it showed UTC) in a zone that {@link isTimeZone} accepts. Of
 * an hour that comes twice the first one is meant; an hour that was left out is read by a clock not yet put forward.
 */
export function utcFromClock(clockMs: number, zone: string): ZonedMoment {
  const fixed = parseOffsetMin(zone);
  if (fixed !== undefined) return { utcMs: clockMs - fixed * MINUTE_MS, doubtful: false };
  // Zones change at most once in two days.
  const before = offsetMsAt(clockMs - DAY_MS, zone);
  const after = offsetMsAt(clockMs + DAY_MS, zone);
  const fits = [before, after].filter((offset) => offsetMsAt(clockMs - offset, zone) === offset);
  const offset = fits.length === 0 ? before : Math.max(...fits);
  return { utcMs: clockMs - offset, doubtful: before !== after && fits.length !== 1 };
}

const MINUTE_MS = 60_000;
const DAY_MS = 86_400_000;
const formatters = new Map<string, Intl.DateTimeFormat>();

/** Milliseconds by which a zone's clock is ahead at a moment in UTC. */
function offsetMsAt(utcMs: number, zone: string): number {
  const whole = Math.floor(utcMs / 1000) * 1000;
  const parts = new Map(
    formatterOf(zone)!
      .formatToParts(whole)
      .map(({ type, value }) => [type, Number(value)]),
  );
  const get = (name: Intl.DateTimeFormatPartTypes): number => parts.get(name)!;
  return Date.UTC(get('year'), get('month') - 1, get('day'), get('hour'), get('minute'), get('second')) - whole;
}

function formatterOf(zone: string): Intl.DateTimeFormat | undefined {
  const known = formatters.get(zone);
  if (known !== undefined) return known;
  try {
    const numeric = { year: 'numeric', month: 'numeric', day: 'numeric', hour: 'numeric', minute: 'numeric' } as const;
    const made = new Intl.DateTimeFormat('en-US', { ...numeric, second: 'numeric', hourCycle: 'h23', timeZone: zone });
    formatters.set(zone, made);
    return made;
  } catch {
    return undefined;
  }
}
