import { applyX, applyY } from '../compute/affine.js';
import type { HeadedFrame } from '../placement/heading.js';
import { headingOf } from '../placement/heading.js';
import { DEG } from '../sky/angles.js';

/** How the body moved through the frame in one pass, as the plate shows it. */
export interface PassWay {
  /** Direction of the body's motion, degrees clockwise from up on the plate, in the middle of the pass. */
  readonly headingDeg: number;
  readonly sigmaDeg: number;
  /** When the middle of the pass was recorded. */
  readonly date: Date;
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
  const middle = (frames.length - 1) / 2;
  const forward = along.reduce((sum, a, k) => sum + a * (k - middle), 0) > 0;
  const sign = forward ? -1 : 1;
  return {
    headingDeg: Math.atan2(sign * cos, -sign * sin) / DEG,
    sigmaDeg: heading.sigmaRad / DEG,
    date: new Date(times.reduce((sum, t) => sum + t, 0) / times.length),
  };
}
