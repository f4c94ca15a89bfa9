import { signedDeg } from '../sky/angles.js';
import { drift } from '../sky/drift.js';
import { ephemeris } from '../sky/ephemeris.js';
import type { Air, Site } from '../sky/types.js';
import type { PassWay } from './pass-way.js';
import { flatteningOf, positionAngleOf, seenAxisDeg } from './sky-tilt.js';

/** Direction of the body's axis on the plate. */
export interface PlateAxis {
  /** The body's north as the air shows it, degrees clockwise from up on the plate. */
  readonly axisDeg: number;
  readonly sigmaDeg: number;
  /** Largest difference between what two passes say, degrees; 0 for a single one. */
  readonly spreadDeg: number;
}

/**
 * The body's axis from the ways of passes: the camera stood still, so the body ran through the frame in a direction that
 * the ephemeris knows, and the axis lies at a known angle to it. Each pass tells for itself, at its own moment, so that
 * neither field rotation nor a camera turned in between does harm. Null without a way.
 */
export function axisFromWays(
  body: 'Moon' | 'Sun',
  ways: readonly PassWay[],
  site: Site,
  air: Air | undefined,
): PlateAxis | null {
  if (ways.length === 0) return null;
  const told = ways.map(({ headingDeg, date, sigmaDeg }) => {
    const motion = drift(body, date, site, air);
    const { axisPositionAngleDeg } = ephemeris(body, date, site, air).frame!;
    const seenDeg = seenAxisDeg(axisPositionAngleDeg, flatteningOf(motion));
    const driftDeg = positionAngleOf(motion.westArcsecPerS, motion.northArcsecPerS);
    // On the plate angles grow clockwise, position angles on the sky anticlockwise.
    return { axisDeg: headingDeg + driftDeg - seenDeg, weight: 1 / sigmaDeg ** 2 };
  });
  const first = told[0]!.axisDeg;
  const off = told.map(({ axisDeg }) => signedDeg(axisDeg - first));
  const weight = told.reduce((sum, one) => sum + one.weight, 0);
  const mean = told.reduce((sum, one, k) => sum + one.weight * off[k]!, 0) / weight;
  return {
    axisDeg: signedDeg(first + mean),
    sigmaDeg: Math.sqrt(1 / weight),
    spreadDeg: Math.max(...off) - Math.min(...off),
  };
}
