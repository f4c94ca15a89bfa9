/** What a clock showed when a stamp was written. */
export interface ClockStamp {
  /** The clock's reading as milliseconds since 1970, taken as if the clock showed UTC; fractions are kept. */
  readonly clockMs: number;
  /** The least step that the stamp can show, in seconds: 1, 0.01, 60. */
  readonly stepS: number;
  /** Minutes by which the clock was ahead of UTC, or `undefined` when the stamp does not say. */
  readonly offsetMin: number | undefined;
}

/**
 * A stamp of Exif 3.0: `YYYY:MM:DD HH:MM:SS`, decimals of the second and offset from UTC in texts of their own. Blank,
 * zero and impossible dates give `undefined`; an offset or decimals that cannot be read count as not given.
 */
export function parseExifStamp(text: string, decimals?: string, offset?: string): ClockStamp | undefined {
  const found = /^(\d{4})[:-](\d\d)[:-](\d\d)[ T](\d\d):(\d\d):(\d\d)$/.exec(text.trim());
  if (found === null) return undefined;
  const fraction = /^\d{1,9}$/.exec((decimals ?? '').trim())?.[0] ?? '';
  return stamp(found.slice(1, 7).map(Number), fraction, parseOffsetMin((offset ?? '').trim()));
}

/**
 * A moment in ISO 8601 (RFC 3339, XMP, FITS): date, `T` or a space, hours and minutes, and, if they are known, seconds,
 * decimals and the offset from UTC. A date alone gives `undefined`: it is no moment.
 */
export function parseIsoStamp(text: string): ClockStamp | undefined {
  const found =
    /^(\d{4})-(\d\d)-(\d\d)[Tt ](\d\d):(\d\d)(?::(\d\d)(?:[.,](\d{1,9})\d*)?)? ?(Z|z|UTC|[+-]\d\d(?::?\d\d)?)?$/.exec(
      text.trim(),
    );
  if (found === null) return undefined;
  const [, year, month, day, hour, minute, second, fraction = '', zone] = found;
  const offsetMin = zone === undefined ? undefined : parseOffsetMin(zone);
  if (zone !== undefined && offsetMin === undefined) return undefined;
  const read = stamp([year, month, day, hour, minute, second ?? '0'].map(Number), fraction, offsetMin);
  return read !== undefined && second === undefined ? { ...read, stepS: 60 } : read;
}

/** A moment as in RFC 1123, which PNG recommends for `Creation Time`: `Mon, 08 Sep 2025 01:28:06 +0530`. */
export function parseMailStamp(text: string): ClockStamp | undefined {
  const found =
    /^(?:[A-Za-z]{3}, )?(\d{1,2}) ([A-Za-z]{3}) (\d{4}) (\d\d):(\d\d):(\d\d) (GMT|UTC|UT|Z|[+-]\d{4})$/.exec(
      text.trim(),
    );
  if (found === null) return undefined;
  const [, day, name, year, hour, minute, second, zone] = found;
  const month = MONTHS.indexOf(name!.toLowerCase()) + 1;
  return stamp(
    [year, month, day, hour, minute, second].map(Number),
    '',
    /[A-Z]/.test(zone!) ? 0 : parseOffsetMin(zone!),
  );
}

/** Minutes ahead of UTC that `Z`, `UTC`, `+05:30`, `-0330` or `+02` say, or `undefined`. */
export function parseOffsetMin(text: string): number | undefined {
  if (/^(Z|UTC)$/i.test(text)) return 0;
  const found = /^(?:UTC)?([+-])(\d{1,2})(?::?(\d\d))?$/.exec(text);
  if (found === null) return undefined;
  const minutes = Number(found[2]) * 60 + Number(found[3] ?? 0);
  if (minutes > MOST_OFFSET_MIN || Number(found[3] ?? 0) > 59) return undefined;
  return found[1] === '-' ? 0 - minutes : minutes;
}

const MONTHS: readonly string[] = ['jan', 'feb', 'mar', 'apr', 'may', 'jun', 'jul', 'aug', 'sep', 'oct', 'nov', 'dec'];
/** No zone is further ahead of UTC than Kiritimati. */
const MOST_OFFSET_MIN = 14 * 60;
/** A leap second may be shown. */
const HIGHEST_SECOND = 60;

/** `fields` are year, month, day, hour, minute, second. */
function stamp(fields: readonly number[], fraction: string, offsetMin: number | undefined): ClockStamp | undefined {
  const [year, month, day, hour, minute, second] = fields as [number, number, number, number, number, number];
  if (year < 1800 || hour > 23 || minute > 59 || second > HIGHEST_SECOND) return undefined;
  const midnight = new Date(Date.UTC(year, month - 1, day));
  if (midnight.getUTCMonth() !== month - 1 || midnight.getUTCDate() !== day) return undefined;
  const wholeMs = midnight.getTime() + ((hour * 60 + minute) * 60 + second) * 1000;
  const clockMs = wholeMs + (fraction === '' ? 0 : Number(`0.${fraction}`) * 1000);
  return { clockMs, stepS: 10 ** -fraction.length, offsetMin };
}
