/**
 * Milliseconds that a time scale is ahead of UTC at a moment in that scale (as milliseconds since 1970), or `undefined`
 * for a scale that is none of UTC, UT, UT1, GMT, TAI, GPS, TT, TDT, ET and TDB (FITS standard 4.0, table 30). UT1 is taken for UTC, which it
 * keeps within 0.9 s of; TDB for TT, within 2 ms. Before 1972 the first leap count is used.
 */
export function aheadOfUtcMs(scale: string, scaleMs: number): number | undefined {
  const fromTaiS = AHEAD_OF_TAI_S.get(scale);
  if (fromTaiS === undefined) return undefined;
  if (fromTaiS === 'utc') return 0;
  const taiMs = scaleMs - fromTaiS * 1000;
  // The last count that began before this moment; each begins, in TAI, at its date plus its own seconds.
  const from = LEAPS.findLastIndex(([date, seconds]) => taiMs >= Date.parse(date) + seconds * 1000);
  return (LEAPS[Math.max(0, from)]![1] + fromTaiS) * 1000;
}

const AHEAD_OF_TAI_S: ReadonlyMap<string, number | 'utc'> = new Map<string, number | 'utc'>([
  ...(['UTC', 'UT', 'UT1', 'GMT'] as const).map((scale): [string, 'utc'] => [scale, 'utc']),
  ...(['TT', 'TDT', 'ET', 'TDB'] as const).map((scale): [string, number] => [scale, 32.184]),
  ['TAI', 0],
  ['GPS', -19],
]);

/** Day from which TAI is so many seconds ahead of UTC: IERS Bulletin C. */
const LEAPS: readonly (readonly [string, number])[] = [
  ...year('01-01', [1972, 10], [1973, 12], [1974, 13], [1975, 14], [1976, 15], [1977, 16], [1978, 17], [1979, 18]),
  ...year('01-01', [1980, 19], [1988, 24], [1990, 25], [1991, 26], [1996, 30], [1999, 32], [2006, 33], [2009, 34]),
  ...year('01-01', [2017, 37]),
  ...year('07-01', [1972, 11], [1981, 20], [1982, 21], [1983, 22], [1985, 23], [1992, 27], [1993, 28], [1994, 29]),
  ...year('07-01', [1997, 31], [2012, 35], [2015, 36]),
].sort(([, a], [, b]) => a - b);

function year(day: string, ...counts: [number, number][]): [string, number][] {
  return counts.map(([calendar, seconds]) => [`${calendar}-${day}T00:00:00Z`, seconds]);
}
