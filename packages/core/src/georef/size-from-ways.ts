import { type BodyFrame, limbRadiusArcsec } from '../sky/body-frame.js';
import { drift } from '../sky/drift.js';
import type { PassWay } from './pass-way.js';
import type { PlateMoment } from './pose-from-sky.js';

/** How far a camera's clock may be out, as a share. */
const CLOCK_SHARE = 1e-4;

/**
 * Radius of the body on a plate, px, as it would be without air, from the speed of its drift: the ephemeris knows it in
 * arcseconds a second, so that each pass tells how many pixels an arcsecond has. Null where no pass tells.
 */
export function sizeFromWays(
  body: 'Moon' | 'Sun',
  ways: readonly PassWay[],
  { site, air }: Pick<PlateMoment, 'site' | 'air'>,
  frame: BodyFrame,
): { readonly radiusPx: number; readonly sigmaPx: number } | null {
  let [sum, weights] = [0, 0];
  for (const { speed, date } of ways) {
    if (!speed || !(speed.sigmaPxPerS < speed.pxPerS)) continue;
    const { speedArcsecPerS } = drift(body, date, site, air);
    const weight = 1 / (speed.sigmaPxPerS / speedArcsecPerS) ** 2;
    sum += (weight * speed.pxPerS) / speedArcsecPerS;
    weights += weight;
  }
  if (weights === 0) return null;
  const pxPerArcsec = sum / weights;
  const radius = limbRadiusArcsec(frame);
  return {
    radiusPx: radius * pxPerArcsec,
    sigmaPx: radius * Math.hypot(1 / Math.sqrt(weights), CLOCK_SHARE * pxPerArcsec),
  };
}
