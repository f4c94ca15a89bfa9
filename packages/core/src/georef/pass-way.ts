import { applyX, applyY } from '../compute/affine.js';
import type { HeadedFrame } from '../placement/heading.js';
import { headingOf, TILT_MEMORY } from '../placement/heading.js';
import { DEG } from '../sky/angles.js';

/** How the body moved through the frame in one pass, as the plate shows it. */
export interface PassWay {
  /** Direction of the body's motion, degrees clockwise from up on the plate, in the middle of the pass. */
  readonly headingDeg: number;
  readonly sigmaDeg: number;
  /** When the middle of the pass was recorded. */
  readonly date: Date;
  /** How fast the body went, px a second; null where too few frames have moments that tell. */
  readonly speed: Speed | null;
}

/** A speed, px a second. */
export interface Speed {
  readonly pxPerS: number;
  readonly sigmaPxPerS: number;
}

/** A frame on the plate, with its moment where that is known. */
export interface TimedFrame extends HeadedFrame {
  /** ISO 8601 in UTC, or null. */
  readonly utc: string | null;
}

/**
 * The way of the body through a pass, from its frames' poses on the plate (space 2 -> 4), in the order of recording. The
 * camera stood still, so the frames went the other way over the ground. Null where the way is too short or too crooked
 * for a direction, or no frame has a moment.
 */
export function wayOf(frames: readonly TimedFrame[]): PassWay | null {
  const heading = headingOf(frames);
  if (!heading) return null;
  const times = frames.flatMap(({ utc }) => (utc === null ? [] : [Date.parse(utc)]));
  if (times.length === 0) return null;
  const [cos, sin] = [Math.cos(heading.angleRad), Math.sin(heading.angleRad)];
  const along = frames.map(
    ({ pose, widthPx, heightPx }) =>
      applyX(pose, (widthPx - 1) / 2, (heightPx - 1) / 2) * cos +
      applyY(pose, (widthPx - 1) / 2, (heightPx - 1) / 2) * sin,
  );
  const timed = frames.flatMap(({ utc }, k) => (utc === null ? [] : [{ s: Date.parse(utc) / 1000, px: along[k]! }]));
  const middle = (frames.length - 1) / 2;
  const forward = along.reduce((sum, a, k) => sum + a * (k - middle), 0) > 0;
  const sign = forward ? -1 : 1;
  return {
    headingDeg: Math.atan2(sign * cos, -sign * sin) / DEG,
    sigmaDeg: heading.sigmaRad / DEG,
    date: new Date(times.reduce((sum, t) => sum + t, 0) / times.length),
    speed: speedOf(timed),
  };
}

/** Fewer frames tell no speed. */
const LEAST_TIMED = 8;

/** The slope of a straight line through places by time; what scatters about it is the air's tilt and coarse clocks. */
function speedOf(timed: readonly { readonly s: number; readonly px: number }[]): Speed | null {
  if (timed.length < LEAST_TIMED) return null;
  const mean = (of: (one: (typeof timed)[number]) => number): number =>
    timed.reduce((sum, one) => sum + of(one), 0) / timed.length;
  const [s, px] = [mean((one) => one.s), mean((one) => one.px)];
  const spread = mean((one) => (one.s - s) ** 2);
  if (!(spread > 0)) return null;
  const slope = mean((one) => (one.s - s) * (one.px - px)) / spread;
  const scatter = mean((one) => (one.px - px - slope * (one.s - s)) ** 2) * (timed.length / (timed.length - 2));
  return { pxPerS: Math.abs(slope), sigmaPxPerS: TILT_MEMORY * Math.sqrt(scatter / (timed.length * spread)) };
}
