import type { FrameFile, Notice, Pass } from './pass.js';
import type { SiteSettings } from './settings-types.js';
import { type FrameStamp, resolveTimes } from './time-resolve.js';
import { parseIsoStamp } from './time-text.js';

/** A pass whose frames have their moments, and what is odd about these. */
export interface TimedPass<P extends Pass> {
  readonly pass: P;
  readonly notices: readonly Notice[];
}

/** What settings say of the moments of a pass. */
export interface PassTimeSettings {
  readonly site: SiteSettings | undefined;
  /** When its first frame began. */
  readonly start: string | undefined;
}

/**
 * Works out when the frames of a pass were exposed, from what stills or the clip record; see {@link resolveTimes}. That
 * only the file system knows is said once for a capture, not here.
 */
export function timePass<P extends Pass>(pass: P, { site, start }: PassTimeSettings): TimedPass<P> {
  const stamps = pass.frames.map((frame, i): FrameStamp => {
    const recorded = pass.kind === 'clip' ? clipStamp(pass, i) : frame.recorded;
    return { item: frame.item, recorded };
  });
  const settings = { ...(site === undefined ? {} : { site }), ...(start === undefined ? {} : { start }) };
  const { times, oddities } = resolveTimes(stamps, settings);
  const frames = pass.frames.map((frame, i): FrameFile => ({ ...frame, time: times[i]! }));
  const onlyFiles = stamps.every(({ recorded }) => recorded === undefined || recorded.source === 'file');
  return { pass: { ...pass, frames }, notices: onlyFiles ? [] : oddities };
}

/** A picture's moment: that of the clip, which is in UTC (ISO/IEC 14496-12, section 8.2.2), and the way from its first picture. */
function clipStamp(pass: Extract<Pass, { kind: 'clip' }>, i: number): FrameStamp['recorded'] {
  const { created, times, tick } = pass.clip;
  const stamp = created === null ? undefined : parseIsoStamp(created);
  const { picture = i } = pass.frames[i]!;
  if (stamp === undefined || times === null) return undefined;
  const sinceMs = (times[picture]! - times[0]!) * tick * 1000;
  const clockMs = stamp.clockMs + sinceMs;
  return { stamp: { ...stamp, clockMs, offsetMin: stamp.offsetMin ?? 0 }, source: 'clip', meaning: 'taken' };
}
