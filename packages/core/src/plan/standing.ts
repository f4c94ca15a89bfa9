import { ARCSEC, addScaled, DEG, signedDeg, type Vec3 } from '../sky/angles.js';
import { limbRadiusArcsec } from '../sky/body-frame.js';
import { type CameraDrift, cameraDrift } from '../sky/camera-drift.js';
import { type Drift, drift, sagittaArcsec } from '../sky/drift.js';
import { type Ephemeris, ephemeris } from '../sky/ephemeris.js';
import { throughAir } from '../sky/through-air.js';
import type { SkyPoint } from '../sky/types.js';
import type { Rig } from './plan-options.js';

/** Where a point of the disc is seen, arcseconds from the centre's place: along the drift, and across it, turned from west to north. */
export interface TrackPoint {
  readonly along: number;
  readonly across: number;
}

/** How the disc and the frame stand to each other when the disc's centre is in the middle of a pass. */
export interface Standing {
  readonly atMs: number;
  readonly moon: Ephemeris;
  readonly motion: Drift;
  readonly camera: CameraDrift;
  /** Position angle of the frame's upper edge. */
  readonly frameAngleDeg: number;
  /** The frame's upper edge against the vertical at the aim, from north through east: an alt-azimuth head keeps it. */
  readonly rollFromVerticalDeg: number;
  /** Unit vector of the drift, space 5. */
  readonly driftWest: number;
  readonly driftNorth: number;
  /** Points of the limb as seen, always the same ones of the body's disc. */
  readonly limb: readonly TrackPoint[];
  /** The frame's side across the drift. */
  readonly sideArcsec: number;
  /**
   * Width across the drift of the ground that crosses at least half of the frame's length: the side itself when it stands
   * square to the drift.
   */
  readonly bandArcsec: number;
  /** The frame's whole extent along the drift. */
  readonly reachArcsec: number;
  /** Of the disc as it is without air. */
  readonly radiusArcsec: number;
}

/** How the camera is turned: to a position angle, with the long side along the drift, or as it was against the vertical. */
export type Roll = { readonly positionAngleDeg: number } | 'along the drift' | { readonly fromVerticalDeg: number };

/** Points of the limb that stand for the disc. */
const LIMB_POINTS = 24;

/**
 * Where everything stands at a moment for an aim whose frame centre lies `acrossArcsec` across the drift from the disc's
 * centre.
 */
export function standingAt(rig: Rig, atMs: number, acrossArcsec: number, roll: Roll): Standing {
  const date = new Date(atMs);
  const moon = ephemeris(rig.body, date, rig.site, rig.air);
  const motion = drift(rig.body, date, rig.site, rig.air);
  const driftWest = motion.westArcsecPerS / motion.speedArcsecPerS;
  const driftNorth = motion.northArcsecPerS / motion.speedArcsecPerS;
  const aim = aimAt(moon, { xArcsec: -driftNorth * acrossArcsec, yArcsec: driftWest * acrossArcsec });
  const frameAngleDeg = angleOf(roll, rig, driftWest, driftNorth, aim.verticalAngleDeg);
  const { focalLengthMm, pitchUm } = rig;
  const camera = cameraDrift(motion, { focalLengthMm, pitchUm, angleDeg: frameAngleDeg });
  const scale = camera.scaleArcsecPerPx;
  const cos = Math.abs(camera.xPxPerS / camera.speedPxPerS);
  const sin = Math.abs(camera.yPxPerS / camera.speedPxPerS);
  const [width, height] = [rig.widthPx * scale, rig.heightPx * scale];
  const radiusArcsec = moon.frame ? limbRadiusArcsec(moon.frame) : moon.angularDiameterArcsec / 2;
  const limb = Array.from({ length: LIMB_POINTS }, (_, k) => {
    const turn = (2 * Math.PI * k) / LIMB_POINTS;
    const point = { xArcsec: radiusArcsec * Math.sin(turn), yArcsec: radiusArcsec * Math.cos(turn) };
    const { xArcsec: x, yArcsec: y } = throughAir(moon, rig.air, point);
    return { along: x * driftWest + y * driftNorth, across: y * driftWest - x * driftNorth };
  });
  return {
    atMs,
    moon,
    motion,
    camera,
    frameAngleDeg,
    rollFromVerticalDeg: signedDeg(frameAngleDeg - aim.verticalAngleDeg),
    driftWest,
    driftNorth,
    limb,
    sideArcsec: height * cos >= width * sin ? height : width,
    bandArcsec: Math.max(height * cos, width * sin),
    reachArcsec: width * cos + height * sin,
    radiusArcsec,
  };
}

/** A direction near the body over the horizon, with air; the angle of the vertical there is carried to the disc's centre. */
export interface AimDirection {
  readonly altitudeDeg: number;
  readonly azimuthDeg: number;
  readonly verticalAngleDeg: number;
}

/** The direction at a place of the tangent plane (space 5) of a body as seen. */
export function aimAt(moon: Ephemeris, place: SkyPoint): AimDirection {
  const q = moon.parallacticAngleDeg * DEG;
  const [x, y] = [place.xArcsec / ARCSEC, place.yArcsec / ARCSEC];
  const seen = moon.apparentAltitudeDeg * DEG;
  const centre: Vec3 = [0, Math.cos(seen), Math.sin(seen)];
  const upwards: Vec3 = [0, -Math.sin(seen), Math.cos(seen)];
  const sideways = addScaled(centre, [1, 0, 0], x * Math.cos(q) + y * Math.sin(q));
  const [right, level, up] = addScaled(sideways, upwards, y * Math.cos(q) - x * Math.sin(q));
  const turn = Math.atan2(right, level) / DEG;
  const altitudeDeg = Math.atan2(up, Math.hypot(right, level)) / DEG;
  const middle = ((altitudeDeg + moon.apparentAltitudeDeg) / 2) * DEG;
  return {
    altitudeDeg,
    azimuthDeg: (moon.azimuthDeg + turn + 360) % 360,
    verticalAngleDeg: signedDeg(moon.parallacticAngleDeg + turn * Math.sin(middle)),
  };
}

/** The least and the most of the limb across the drift or along it, arcseconds. */
export function extentOf(standing: Standing, axis: keyof TrackPoint): { least: number; most: number } {
  const values = standing.limb.map((point) => point[axis]);
  // The limb between two of the points: its radius times the versed sine of half their distance.
  const between = standing.radiusArcsec * (1 - Math.cos(Math.PI / LIMB_POINTS));
  return { least: Math.min(...values) - between, most: Math.max(...values) + between };
}

/** By how far the frame's edge and the ground's path part over the frame, arcseconds. */
export function bendOf(standing: Standing): number {
  return Math.abs(sagittaArcsec(standing.motion, standing.reachArcsec));
}

/** By how much the air's flattening moves the limb against the centre from the middle of a pass to its ends, arcseconds. */
export function breathOf(standing: Standing, driftS: number): number {
  return (standing.radiusArcsec * Math.abs(standing.motion.verticalScalePerS) * driftS) / 2;
}

/**
 * By how far a point of the disc can lie elsewhere across the drift in one pass than in another, arcseconds: the drift has
 * turned, the air flattens otherwise, the path bends otherwise.
 */
export function shearBetween(a: Standing, b: Standing): number {
  const moved = a.limb.map((point, k) => Math.abs(point.across - b.limb[k]!.across));
  const bends = Math.abs(sagittaArcsec(a.motion, 2 * a.radiusArcsec) - sagittaArcsec(b.motion, 2 * b.radiusArcsec));
  return Math.max(...moved) + bends;
}

function angleOf(roll: Roll, rig: Rig, west: number, north: number, verticalDeg: number): number {
  if (roll === 'along the drift') {
    // The drift runs to the right, or down in a frame that stands upright.
    return (rig.widthPx >= rig.heightPx ? Math.atan2(north, west) : Math.atan2(west, -north)) / DEG;
  }
  if ('positionAngleDeg' in roll) return signedDeg(roll.positionAngleDeg);
  return signedDeg(verticalDeg + roll.fromVerticalDeg);
}
