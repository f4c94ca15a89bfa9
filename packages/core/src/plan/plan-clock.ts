/** A moment as UTC and as a clock in the site's zone shows it, ISO 8601 both, to the second. */
export interface PlanMoment {
  /** `2031-03-04T20:15:00Z` */
  readonly utc: string;
  /** `2031-03-04T21:15:00+01:00` */
  readonly local: string;
}

/** A moment, milliseconds since 1970, in UTC and in a zone: an IANA name or an offset such as `+02:00`. */
export function momentIn(zone: string, utcMs: number): PlanMoment {
  const whole = Math.round(utcMs / 1000) * 1000;
  const offsetMin = Math.round(offsetMinAt(whole, zone));
  const clock = new Date(whole + offsetMin * 60_000).toISOString().slice(0, 19);
  const size = Math.abs(offsetMin);
  const offset = `${offsetMin < 0 ? '-' : '+'}${two(Math.floor(size / 60))}:${two(size % 60)}`;
  return { utc: `${new Date(whole).toISOString().slice(0, 19)}Z`, local: `${clock}${offset}` };
}

function two(value: number): string {
  return String(value).padStart(2, '0');
}

/** Minutes by which a zone's clock is ahead of UTC; the zone has been found good. */
function offsetMinAt(utcMs: number, zone: string): number {
  if (/^(Z|UTC)$/i.test(zone)) return 0;
  const fixed = /^(?:UTC)?([+-])(\d{1,2})(?::?(\d\d))?$/.exec(zone);
  if (fixed) return (fixed[1] === '-' ? -1 : 1) * (Number(fixed[2]) * 60 + Number(fixed[3] ?? 0));
  const numeric = { year: 'numeric', month: 'numeric', day: 'numeric', hour: 'numeric', minute: 'numeric' } as const;
  const formatter = new Intl.DateTimeFormat('en-US', {
    ...numeric,
    second: 'numeric',
    hourCycle: 'h23',
    timeZone: zone,
  });
  const parts = new Map(formatter.formatToParts(utcMs).map(({ type, value }) => [type, Number(value)]));
  const get = (name: Intl.DateTimeFormatPartTypes): number => parts.get(name)!;
  const clock = Date.UTC(get('year'), get('month') - 1, get('day'), get('hour'), get('minute'), get('second'));
  return (clock - utcMs) / 60_000;
}
