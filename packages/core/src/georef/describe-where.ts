import type { PlateSource } from '../plate/plate-source.js';
import type { Whereabouts } from '../plate/whereabouts.js';
import { angleDeg, DEG, fromSphere, positiveDeg } from '../sky/angles.js';
import { type BodyFrame, limbRadiusArcsec } from '../sky/body-frame.js';
import { RADIUS_KM } from '../sky/orientation.js';
import type { BodyPoint } from '../sky/types.js';
import { type BodyPose, plateToBody } from './body-pose.js';
import { discShape } from './disc-shape.js';
import type { PlacedBody, PlateFacts } from './georeference.js';
import { plateFeatures } from './plate-features.js';

/** What a plate's place on its body means in figures: scale, libration, light, corners and named features. */
export function describeWhere(facts: PlateFacts, placed: PlacedBody, mapSha256: string | null): Whereabouts {
  const { source, body, moment, date } = facts;
  const { discToPlate, subObserver, distanceRadii, subSolar, sky, fit } = placed;
  const radiusKm = RADIUS_KM[body];
  const pose = bodyPoseOf(placed, body);
  const shape = discShape(discToPlate);
  const meanPx = Math.sqrt(shape.semiMajorPx * shape.semiMinorPx);
  const phaseAngleDeg = sky?.phaseAngleDeg ?? (subSolar && phaseOf(subObserver, subSolar));
  return {
    known: true,
    body,
    utc: (moment?.date ?? date)?.toISOString() ?? null,
    from: placed.from,
    disc: { x: discToPlate.tx, y: discToPlate.ty, ...shape, sigmaPx: placed.sigmaPx },
    axisDeg: placed.axisDeg,
    axisSigmaDeg: placed.axisSigmaDeg,
    northDeg: placed.northDeg,
    // In the middle of the disc the ground is nearer than the limb.
    kmPerPx: (radiusKm / meanPx) * Math.sqrt((distanceRadii - 1) / (distanceRadii + 1)),
    arcsecPerPx: sky?.frame ? limbRadiusArcsec(sky.frame) / meanPx : null,
    distanceKm: sky?.distanceKm ?? null,
    subObserver,
    subSolar,
    colongitudeDeg: subSolar && positiveDeg(90 - subSolar.longitudeDeg),
    phaseAngleDeg,
    illuminatedFraction: phaseAngleDeg === null ? null : Math.cos((phaseAngleDeg * DEG) / 2) ** 2,
    corners: cornersOf(pose, source),
    discToPlate,
    distanceRadii,
    map: fit && mapSha256 !== null ? { sha256: mapSha256, ...fit } : null,
    notes: placed.notes,
    features: body === 'Moon' ? plateFeatures(pose, source) : [],
  };
}

/** The pose of a placed plate, with light. */
export function bodyPoseOf(
  placed: Pick<Whereabouts, 'subObserver' | 'distanceRadii' | 'subSolar' | 'discToPlate'>,
  body: 'Moon' | 'Sun',
): BodyPose {
  const radiusKm = RADIUS_KM[body];
  const frame: BodyFrame = {
    radiusKm,
    distanceKm: placed.distanceRadii * radiusKm,
    subObserver: placed.subObserver,
    subSolar: placed.subSolar,
    axisPositionAngleDeg: 0,
  };
  return { frame, toPlate: placed.discToPlate };
}

/** Angle at the body between the observer and the Sun; the Sun is so far that its direction is the same everywhere. */
function phaseOf(observer: BodyPoint, sun: BodyPoint): number {
  return angleDeg(
    fromSphere(observer.longitudeDeg, observer.latitudeDeg),
    fromSphere(sun.longitudeDeg, sun.latitudeDeg),
  );
}

function cornersOf(pose: BodyPose, { width, height }: PlateSource): Whereabouts['corners'] {
  const at = (x: number, y: number): BodyPoint | null => plateToBody(pose, x, y);
  return {
    topLeft: at(0, 0),
    topRight: at(width - 1, 0),
    bottomRight: at(width - 1, height - 1),
    bottomLeft: at(0, height - 1),
  };
}
