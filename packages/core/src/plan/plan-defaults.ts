import { NEAR_TERMINATOR_DEG } from '../sky/near-terminator.js';

/** What {@link plan} takes where nothing is said. */
export const PLAN_DEFAULTS = {
  leastAltitudeDeg: 20,
  /** One night of every month has it. */
  terminatorWithinDeg: NEAR_TERMINATOR_DEG as number,
  /** Half of what the colongitude grows in a day: one night of every month is near enough. */
  likeWithinDeg: 6.1,
  framesPerSecond: 24,
  bitDepth: 16,
  pointingErrorArcsec: 60,
  overlap: 0.15,
  reaimS: 60,
  /** Sky beyond each limb, as a share of the disc's radius. */
  skyMargin: 0.05,
  /** Windows that are listed. */
  mostWindows: 10,
} as const;
