import { CHANNEL_NM } from '../sky/dispersion.js';
import { transmission } from '../sky/extinction.js';
import type { Rig } from './plan-options.js';
import type { Standing } from './standing.js';

/** An exposure to start from: a rule of thumb, to be corrected by the histogram. */
export interface ExposureStart {
  readonly iso: number;
  readonly focalRatio: number;
  readonly exposureS: number;
  /** Stops by which the lit ground is darker than that of a high full Moon: by its phase, and by the air. */
  readonly phaseStops: number;
  readonly airStops: number;
  /** The sensitivity with which the longest exposure for half a pixel of smear gives the same brightness. */
  readonly isoAtLongestExposure: number;
  readonly basis: string;
}

const ISO = 100;
const STOPS_PER_MAG = 0.4 / Math.log10(2);

/**
 * An exposure of the Moon to start from; null for other bodies and for an unknown aperture. Full and high, the Moon is
 * exposed for 1/ISO s at f/11 (the "Looney 11" rule of photographers). Its phase dims it by 0.026 a + 4e-9 a^4 magnitudes
 * at a phase angle of a degrees (Allen, Astrophysical Quantities, 3rd ed. 1973, § 66), of which the smaller lit area
 * takes a part; the air takes what it takes in green more than in the zenith.
 */
export function exposureStart({ moon, camera }: Standing, rig: Rig): ExposureStart | null {
  if (rig.body !== 'Moon' || rig.apertureMm === null) return null;
  const angle = moon.phaseAngleDeg!;
  const focalRatio = rig.focalLengthMm / rig.apertureMm;
  const dimming = 0.026 * angle + 4e-9 * angle ** 4;
  // A sliver has no less than a thousandth of the disc here: below that the law means nothing.
  const spread = 2.5 * Math.log10(Math.max(0.001, moon.illuminatedFraction!));
  const phaseStops = STOPS_PER_MAG * (dimming + spread);
  const { heightM } = rig.site;
  const through = (altitudeDeg: number): number => transmission(altitudeDeg, CHANNEL_NM.green, heightM);
  const airStops = Math.log2(through(90) / through(seenAltitude(moon.apparentAltitudeDeg)));
  const exposureS = ((focalRatio / 11) ** 2 / ISO) * 2 ** (phaseStops + airStops);
  return {
    iso: ISO,
    focalRatio,
    exposureS,
    phaseStops,
    airStops,
    isoAtLongestExposure: ISO * (exposureS / (0.5 / camera.speedPxPerS)),
    basis:
      'a starting point only: the "Looney 11" rule (full Moon: f/11, 1/ISO s), the phase after Allen, Astrophysical ' +
      'Quantities, for the mean of the lit ground (the terminator is darker, rays are brighter), the air in green',
  };
}

/** Altitude for which the air has an answer. */
export function seenAltitude(apparentAltitudeDeg: number): number {
  return Math.max(0, Math.min(90, apparentAltitudeDeg));
}
