import { rotationDegOf } from '../compute/affine.js';
import type { Heading } from './heading.js';
import { halfTurn, WAY_DOUBT_RAD } from './limb-turn.js';
import { isSure } from './overlap-probability.js';
import type { PlacedEdge } from './solve.js';

/** An overlap may turn a pass by this much more than its way does, degrees: ties of little ground, field rotation over the frame. */
const MOST_OFF_DEG = 2;
/** And by so many σ of the ways. */
const SIGMAS = 4;

/**
 * Overlaps that turn a pass otherwise than the way of the sky through both passes does (see {@link Heading}), by index,
 * with the reason in plain words. The body runs along one circle of declination in all passes of a camera that stands
 * still, so that the turn between two of them is known to a fraction of a degree, but for half a turn; arcs of a limb
 * that match by accident turn by anything. Empty where sure overlaps contradict the ways more often than they bear them
 * out: then the camera followed the sky, or was moved.
 */
export function againstWay(
  edges: readonly PlacedEdge[],
  ways: readonly (Heading | undefined)[],
): ReadonlyMap<number, string> {
  const against = new Map<number, string>();
  let balance = 0;
  edges.forEach(({ fixed, moving, edge }, at) => {
    const [to, from] = [ways[fixed], ways[moving]];
    if (!to || !from) return;
    const sigmaRad = Math.hypot(to.sigmaRad, from.sigmaRad);
    if (sigmaRad > WAY_DOUBT_RAD) return;
    const turnDeg = rotationDegOf(edge.pose);
    const offDeg = Math.abs(degrees(halfTurn(from.angleRad + (turnDeg * Math.PI) / 180 - to.angleRad)));
    const isOff = offDeg > MOST_OFF_DEG + SIGMAS * degrees(sigmaRad);
    if (isSure(edge)) balance += isOff ? -1 : 1;
    if (isOff)
      against.set(
        at,
        `it turns one by ${turnDeg.toFixed(1)}°, ${offDeg.toFixed(1)}° off the way of the sky through both`,
      );
  });
  return balance < 0 ? new Map() : against;
}

function degrees(radians: number): number {
  return (radians * 180) / Math.PI;
}
