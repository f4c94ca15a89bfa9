import { type Affine, applyX, applyY, compose, invert } from '../compute/affine.js';
import type { PlateSource } from '../plate/plate-source.js';
import type { UnknownReason, WhereUnknown } from '../plate/whereabouts.js';
import { DEG, signedDeg } from '../sky/angles.js';
import { ephemeris } from '../sky/ephemeris.js';
import type { BodyPoint } from '../sky/types.js';
import type { AlbedoMap } from './albedo-map.js';
import { roundDisc } from './body-pose.js';
import { findTurn } from './find-pose.js';
import type { PoseFit, PosePrior } from './fit-pose.js';
import { litSide } from './lit-side.js';
import { type KnownSize, type LocatedDisc, locateDisc, relocateDisc, type SunSide, withSize } from './locate-disc.js';
import type { PassWay } from './pass-way.js';
import { type PlateMoment, type SkySays, skySays, unflatten } from './pose-from-sky.js';
import type { PosedDisc } from './posed-disc.js';
import { refineOnMap } from './refine-on-map.js';
import { type RoundView, rounded, scaleOf, smaller, viewOf } from './round-view.js';
import { sizeFromWays } from './size-from-ways.js';
import { sunFromShading } from './sun-from-shading.js';
import { sunSideOn } from './sunward.js';

/** What is known of a plate before it is placed on its body. */
export interface PlateFacts {
  readonly source: PlateSource;
  readonly body: 'Moon' | 'Sun';
  /** When its geometry is of and where the camera stood; null where that is not known. */
  readonly moment: PlateMoment | null;
  /** When it was taken, where the site is not known; the Sun's place over the Moon depends on that alone. */
  readonly date: Date | null;
  readonly ways: readonly PassWay[];
  readonly map: AlbedoMap | null;
}

/** A plate placed on its body. */
export interface PlacedBody {
  readonly known: true;
  readonly from: 'sky' | 'map' | 'sky-and-map';
  /** From the disc's plane (see `BodyPose.toPlate`) to the plate. */
  readonly discToPlate: Affine;
  readonly subObserver: BodyPoint;
  readonly distanceRadii: number;
  readonly subSolar: BodyPoint | null;
  /** Body's north and celestial north, degrees clockwise from up. */
  readonly axisDeg: number;
  readonly axisSigmaDeg: number;
  readonly northDeg: number | null;
  /** Of the disc's centre across and down, and of the radius, plate px. */
  readonly sigmaPx: { readonly x: number; readonly y: number; readonly radius: number };
  readonly sky: SkySays['sky'] | null;
  readonly fit: { readonly patches: number; readonly rmsPx: number } | null;
  readonly notes: readonly string[];
}

/** The limb is looked for on a copy of at most this side. */
const LIMB_SIDE_PX = 2560;
/** A map is laid on a copy whose disc has at most this radius, px, or a map's pixel to each of its own. */
const MOST_MAP_RADIUS_PX = 1200;
/** Mean distance of the Moon, in its radii, where no moment tells. */
const USUAL_DISTANCE_RADII = 221;
/** A turn is believed from this correlation on, and this far above the next best. */
const LEAST_CORRELATION = 0.5;
const LEAST_LEAD = 0.12;
/** The light may lie this far from where the Sun should be, degrees; nearer to the disc's centre its side says nothing. */
const MOST_SIDE_DEG = 40;
const LEAST_OFF_RADII = 0.12;
/** What a first look at a map leaves open, degrees. */
const AXIS_BY_MAP_DEG = 1;
/** Libration of the ephemeris, degrees; a map's pattern may lie further off than that. */
const LIBRATION_SIGMA_DEG = 0.06;

/**
 * Finds where the body lies on a plate (space 6 -> 4). The disc comes from its lit limb, freed of the flattening by
 * refraction, and its size from the speed of the drift, too. Its turn comes from the way of the drift and the ephemeris, and, given a map, from the pattern of the
 * ground: alone where neither site nor moments are known, or else to make the first exact.
 */
export function georeference(facts: PlateFacts): PlacedBody | WhereUnknown {
  const { source, body, moment, ways, map } = facts;
  if (!moment && !(map && body === 'Moon')) {
    return unknown(
      'no-site',
      'give site and clock in capture.yaml (times that only the file system knows do not count), or a map of the Moon',
    );
  }
  const says = moment && skySays(body, moment, ways);
  if (!says?.north && !(map && body === 'Moon')) {
    return unknown('no-way', 'no pass with moments drifts far enough to tell the direction; give a map of the Moon');
  }
  const flat = viewOf(source, LIMB_SIDE_PX);
  const north = says?.north ?? null;
  const view = says && north ? rounded(flat, unflatten(says.flattening, north.northDeg)) : flat;
  const disc = locateDisc(view);
  if (!disc) return unknown('no-limb', 'no lit limb was found on the plate');
  const size = says && sizeOn(flat, facts, says);
  if (says && north) return bySky(facts, view, disc, says, north, size);
  const first = byMap(facts, view, disc, says);
  if (!says || !first.known) return first;
  // Now that north is known, what the air does to the disc is known, too.
  const northDeg = first.northDeg!;
  const again = rounded(flat, unflatten(says.flattening, northDeg));
  const found = { northDeg, sigmaDeg: AXIS_BY_MAP_DEG, spreadDeg: 0 };
  return bySky(facts, again, locateDisc(again) ?? disc, says, found, size);
}

/** The disc's size on a view that has been made round, by the speed of its drift. */
function sizeOn(flat: RoundView, { body, moment, ways }: PlateFacts, { sky }: SkySays): KnownSize | null {
  const size = sizeFromWays(body, ways, moment!, sky.frame!);
  const scale = scaleOf(flat);
  return size && { radiusPx: scale * size.radiusPx, sigmaPx: scale * size.sigmaPx };
}

/** The sky tells; a map, where there is one, makes it exact. */
function bySky(
  { body, map }: PlateFacts,
  view: RoundView,
  found: LocatedDisc,
  { sky }: SkySays,
  north: NonNullable<SkySays['north']>,
  size: KnownSize | null,
): PlacedBody | WhereUnknown {
  const frame = sky.frame!;
  const axisDeg = signedDeg(north.northDeg - frame.axisPositionAngleDeg);
  const side = litSide(view, found);
  if (side && sky.brightLimbPositionAngleDeg !== null && side.offRadii > LEAST_OFF_RADII) {
    const offDeg = Math.abs(signedDeg(side.towardsDeg - (north.northDeg - sky.brightLimbPositionAngleDeg)));
    if (offDeg > MOST_SIDE_DEG) {
      return unknown(
        'not-as-the-sky',
        `the light lies ${offDeg.toFixed(0)} degrees from where the Sun was; look at site, clock and zone in capture.yaml, or the picture is mirrored`,
      );
    }
  }
  const disc = withSize(relocateDisc(view, found, sunSideOf(sky, north.northDeg)), size);
  const distanceRadii = frame.distanceKm / frame.radiusKm;
  const start: PosedDisc = { ...disc, axisDeg, subObserver: frame.subObserver, distanceRadii };
  const notes = north.spreadDeg > MOST_SPREAD_DEG ? [spreadNote(north.spreadDeg)] : [];
  const known = { known: true, sky, notes, subSolar: frame.subSolar } as const;
  const prior = {
    discWeight: disc.weight,
    axisSigmaDeg: north.sigmaDeg,
    librationSigmaDeg: LIBRATION_SIGMA_DEG,
    at: start,
  };
  const fit = map && body === 'Moon' ? onMap(view, start, map, frame.subSolar, prior) : null;
  if (!fit) {
    const more =
      map && body === 'Moon' ? ['the map is not like the plate where the sky says it should be; it was not used'] : [];
    return {
      ...known,
      notes: [...notes, ...more],
      ...placed(view, start, disc.covariance),
      from: 'sky',
      axisSigmaDeg: north.sigmaDeg,
      northDeg: north.northDeg,
      fit: null,
    };
  }
  // The libration stays the ephemeris'; the limb rules centre and radius, the map the turn.
  const pose: PosedDisc = { ...fit.pose, subObserver: frame.subObserver };
  return {
    ...known,
    ...placed(view, pose, fit.covariance),
    from: 'sky-and-map',
    axisSigmaDeg: fit.sigma[0]!,
    northDeg: signedDeg(pose.axisDeg + frame.axisPositionAngleDeg),
    fit: { patches: fit.used, rmsPx: fit.rmsPx },
  };
}

/** Passes that say other directions than this apart, degrees, are worth a note. */
const MOST_SPREAD_DEG = 0.3;

function spreadNote(spreadDeg: number): string {
  return `the passes' drifts differ by ${spreadDeg.toFixed(2)} degrees; was the camera moved within a pass?`;
}

/** A map alone tells the turn and the libration. */
function byMap(
  { map, date, moment }: PlateFacts,
  view: RoundView,
  first: LocatedDisc,
  says: SkySays | null,
): PlacedBody | WhereUnknown {
  const turn = findTurn(view, first, map!);
  if (!turn || turn.correlation < LEAST_CORRELATION || turn.correlation - turn.rival < LEAST_LEAD) {
    return unknown(
      'not-as-the-map',
      'the map is like the plate in no turn: too little of the disc is lit, or it is another body, mirrored or no equirectangular map',
    );
  }
  const frame = says?.sky.frame ?? null;
  const rough: PosedDisc = {
    ...first,
    axisDeg: turn.axisDeg,
    subObserver: frame?.subObserver ?? { longitudeDeg: turn.longitudeDeg, latitudeDeg: turn.latitudeDeg },
    distanceRadii: frame ? frame.distanceKm / frame.radiusKm : USUAL_DISTANCE_RADII,
  };
  const subSolar = frame?.subSolar ?? (date ? sunOn(date) : sunFromShading(view, rough, map!));
  const disc = relocateDisc(view, first, subSolar && sunSideOn(rough, subSolar));
  const start: PosedDisc = { ...rough, ...disc };
  const librationSigmaDeg = frame ? LIBRATION_SIGMA_DEG : Number.POSITIVE_INFINITY;
  const prior = { discWeight: disc.weight, axisSigmaDeg: Number.POSITIVE_INFINITY, librationSigmaDeg, at: start };
  const fit = onMap(view, start, map!, subSolar, prior);
  if (!fit) return unknown('not-as-the-map', 'the map is like the plate as a whole, but not in its detail');
  const pose: PosedDisc = frame ? { ...fit.pose, subObserver: frame.subObserver } : fit.pose;
  return {
    known: true,
    ...placed(view, pose, fit.covariance),
    from: moment ? 'sky-and-map' : 'map',
    subSolar,
    axisSigmaDeg: fit.sigma[0]!,
    northDeg: frame ? signedDeg(pose.axisDeg + frame.axisPositionAngleDeg) : null,
    sky: says?.sky ?? null,
    fit: { patches: fit.used, rmsPx: fit.rmsPx },
    notes: [],
  };
}

/** The side of the Sun on the view, from the sky. */
function sunSideOf({ brightLimbPositionAngleDeg, phaseAngleDeg }: SkySays['sky'], northDeg: number): SunSide | null {
  if (brightLimbPositionAngleDeg === null || phaseAngleDeg === null) return null;
  return { towardsDeg: northDeg - brightLimbPositionAngleDeg, phaseAngleDeg };
}

/** Where the Sun stood over the Moon; from where on the Earth it is looked at does not matter. */
function sunOn(date: Date): BodyPoint {
  return ephemeris('Moon', date, { latitudeDeg: 0, longitudeDeg: 0, heightM: 0 }).frame!.subSolar!;
}

/** {@link refineOnMap} on a copy of fitting scale; the answer in px of `view`, its scatter in plate px. */
function onMap(
  view: RoundView,
  start: PosedDisc,
  map: AlbedoMap,
  sun: BodyPoint | null,
  prior: PosePrior,
): PoseFit | null {
  const radius = Math.min(MOST_MAP_RADIUS_PX, map.width / (2 * Math.PI));
  const small = smaller(view, Math.max(1, Math.round(start.radiusPx / radius)));
  const scale = scaleOf(small) / scaleOf(view);
  const to = compose(small.fromPlate, invert(view.fromPlate));
  const onSmall = (pose: PosedDisc): PosedDisc => ({
    ...pose,
    centreX: applyX(to, pose.centreX, pose.centreY),
    centreY: applyY(to, pose.centreX, pose.centreY),
    radiusPx: pose.radiusPx * scale,
  });
  const own: PosePrior = { ...prior, at: onSmall(prior.at), discWeight: prior.discWeight.map((w) => w / scale ** 2) };
  const fit = refineOnMap(small, onSmall(start), map, sun, own);
  if (!fit) return null;
  const back = invert(to);
  const { centreX, centreY, radiusPx } = fit.pose;
  const pose: PosedDisc = {
    ...fit.pose,
    centreX: applyX(back, centreX, centreY),
    centreY: applyY(back, centreX, centreY),
    radiusPx: radiusPx / scale,
  };
  const covariance = fit.covariance.map((c) => c / scale ** 2);
  return { ...fit, pose, covariance, rmsPx: fit.rmsPx / scaleOf(small) };
}

/** A pose on a view, in plate px. */
function placed(
  view: RoundView,
  pose: PosedDisc,
  covariance: readonly number[],
): Pick<PlacedBody, 'discToPlate' | 'subObserver' | 'distanceRadii' | 'axisDeg' | 'sigmaPx'> {
  const { centreX, centreY, radiusPx, axisDeg, subObserver, distanceRadii } = pose;
  const discToPlate = compose(invert(view.fromPlate), roundDisc(centreX, centreY, radiusPx, axisDeg));
  const scale = scaleOf(view);
  const sigma = (i: number): number => Math.sqrt(Math.max(0, covariance[4 * i]!)) / scale;
  return {
    discToPlate,
    subObserver,
    distanceRadii,
    axisDeg: signedDeg(Math.atan2(discToPlate.xy, -discToPlate.yy) / DEG),
    sigmaPx: { x: sigma(0), y: sigma(1), radius: sigma(2) },
  };
}

function unknown(reason: UnknownReason, detail: string): WhereUnknown {
  return { known: false, reason, detail };
}
