import { type Affine, compose, invert } from '../compute/affine.js';
import { signedDeg } from '../sky/angles.js';
import { drift } from '../sky/drift.js';
import { type Ephemeris, ephemeris } from '../sky/ephemeris.js';
import type { Air, Site } from '../sky/types.js';
import { axisFromWays } from './axis-from-ways.js';
import type { PassWay } from './pass-way.js';
import { flatteningOf, seenAxisDeg, skyTurn } from './sky-tilt.js';

/** When and where a plate's geometry is of. */
export interface PlateMoment {
  readonly date: Date;
  readonly site: Site;
  /** Default: none, no refraction. */
  readonly air: Air | undefined;
}

/** What the sky says of a plate. */
export interface SkySays {
  readonly sky: Ephemeris;
  /** The tangent plane as the air shows it, see `flatteningOf`. */
  readonly flattening: Affine;
  /** Celestial north on the plate, degrees clockwise from up; null where no pass tells the way of the drift. */
  readonly north: { readonly northDeg: number; readonly sigmaDeg: number; readonly spreadDeg: number } | null;
}

/** Ephemeris, flattening and north of a plate. */
export function skySays(body: 'Moon' | 'Sun', { date, site, air }: PlateMoment, ways: readonly PassWay[]): SkySays {
  const sky = ephemeris(body, date, site, air);
  const flattening = flatteningOf(drift(body, date, site, air));
  const axis = axisFromWays(body, ways, site, air);
  if (!axis) return { sky, flattening, north: null };
  const northDeg = signedDeg(axis.axisDeg + seenAxisDeg(sky.frame!.axisPositionAngleDeg, flattening));
  return { sky, flattening, north: { northDeg, sigmaDeg: axis.sigmaDeg, spreadDeg: axis.spreadDeg } };
}

/** Directions on the plate -> directions on a plate without air: what makes the disc round; scale kept. */
export function unflatten(flattening: Affine, northDeg: number): Affine {
  const turn = skyTurn(northDeg);
  return invert(compose(turn, compose(flattening, invert(turn))));
}
