import type { Affine } from '../compute/affine.js';
import type { FeatureKind } from '../sky/features.js';
import type { BodyPoint } from '../sky/types.js';

/** A disc as the air shows it, on the plate: an ellipse. */
export interface PlateDisc {
  readonly x: number;
  readonly y: number;
  /** Semi-axes of the limb, px. */
  readonly semiMajorPx: number;
  readonly semiMinorPx: number;
  /** Direction of the longer one, degrees clockwise from up, 0 to 180; 0 for a circle. */
  readonly majorDeg: number;
  /** One sigma of the centre, across and down, and of the radius, px. */
  readonly sigmaPx: { readonly x: number; readonly y: number; readonly radius: number };
}

/** A named feature on the plate. */
export interface PlateFeature extends BodyPoint {
  readonly name: string;
  readonly kind: FeatureKind;
  readonly diameterKm: number;
  /** Plate px (space 4) of its centre. */
  readonly x: number;
  readonly y: number;
  /** Whether the Sun's centre is over the level horizon there. */
  readonly lit: boolean;
  /** Along the ground to the terminator, km and degrees. */
  readonly terminatorKm: number;
  readonly terminatorDeg: number;
  /** Whether the plate has light there: a gap of the coverage shows none. */
  readonly covered: boolean;
}

/** How well a map agreed. */
export interface MapAgreement {
  /** SHA-256 of the map's file. */
  readonly sha256: string;
  /** Patches that agreed, and their scatter, plate px per axis. */
  readonly patches: number;
  readonly rmsPx: number;
}

/** Where a plate lies on the body. Angles on the plate are degrees clockwise from up. */
export interface Whereabouts {
  readonly known: true;
  readonly body: 'Moon' | 'Sun';
  /** The moment that the plate's geometry is of, ISO 8601 in UTC; null where nobody knows. */
  readonly utc: string | null;
  /**
   * What told the body's turn: `sky`, the ephemeris and the way of the drift; `map`, a map alone; `sky-and-map`, the
   * first made exact by the second.
   */
  readonly from: 'sky' | 'map' | 'sky-and-map';
  readonly disc: PlateDisc;
  /** The body's north pole. */
  readonly axisDeg: number;
  readonly axisSigmaDeg: number;
  /** Celestial north; null without moment and site. */
  readonly northDeg: number | null;
  /** Of the ground in the middle of the disc. */
  readonly kmPerPx: number;
  /** Without air; null where the distance is not known. */
  readonly arcsecPerPx: number | null;
  readonly distanceKm: number | null;
  /** Where the observer stands in the zenith: the libration. */
  readonly subObserver: BodyPoint;
  /** Where the Sun does; null for the Sun, and where neither moment nor light tells. */
  readonly subSolar: BodyPoint | null;
  readonly colongitudeDeg: number | null;
  readonly phaseAngleDeg: number | null;
  /** Lit share of the disc, 0 to 1. */
  readonly illuminatedFraction: number | null;
  /** Ground under the plate's corner pixels; null off the disc. */
  readonly corners: {
    readonly topLeft: BodyPoint | null;
    readonly topRight: BodyPoint | null;
    readonly bottomRight: BodyPoint | null;
    readonly bottomLeft: BodyPoint | null;
  };
  /** From the disc's plane (limb = unit circle, body's north along y upwards, its east along x) to the plate. */
  readonly discToPlate: Affine;
  /** From the body's centre, in radii, as the projection takes it. */
  readonly distanceRadii: number;
  readonly map: MapAgreement | null;
  /** What is worth knowing, in words. */
  readonly notes: readonly string[];
  /** Features whose centres the plate shows, those nearest to the terminator first. */
  readonly features: readonly PlateFeature[];
}

/**
 * Why it is not known where a plate lies:
 * - `no-limb`: no lit limb was found on it;
 * - `plain-body`: planets are plain discs here;
 * - `no-site`: neither site and moments nor a map are given;
 * - `no-way`: no pass tells the direction of the drift, and there is no map;
 * - `not-as-the-sky`: the light lies on another side than the Sun at that moment;
 * - `not-as-the-map`: the map is like the plate in no turn.
 */
export type UnknownReason = 'no-limb' | 'plain-body' | 'no-site' | 'no-way' | 'not-as-the-sky' | 'not-as-the-map';

/** That it is not known where a plate lies. */
export interface WhereUnknown {
  readonly known: false;
  readonly reason: UnknownReason;
  /** In words, with what to do. */
  readonly detail: string;
}
