import type { CaptureSettings } from '../capture/settings-types.js';
import { createRandom, type Random } from '../compute/random.js';
import { UsageError } from '../job/errors.js';
import { type PlanOptions, type Rig, rigOf } from '../plan/plan-options.js';
import type { PlannedPass, ShotList } from '../plan/plan-types.js';
import { ARCSEC, DEG, signedDeg } from '../sky/angles.js';
import { type Ephemeris, ephemeris } from '../sky/ephemeris.js';
import { type InFrame, inLockedFrame, type LockedCamera } from '../sky/locked-camera.js';
import { requireRange } from '../sky/types.js';
import type { RehearsalSettings, TrackPlace } from './settings.js';

/** How the passes of a plan are rehearsed. */
export interface PlanRehearsalOptions {
  /** Chance of the aims' errors and of the rehearsal. Default 1. */
  readonly seed?: number;
  /** Shorter side of the rehearsed frames; the camera's own pixels are taken together. Default 480, at most the camera's. */
  readonly shorterSidePx?: number;
  /** Frames recorded while ground crosses the whole frame. Default 8. */
  readonly framesPerCrossing?: number;
}

/** What {@link planRehearsal} says of a rehearsal. */
export interface PlanRehearsal
  extends Pick<RehearsalSettings, 'seed' | 'discDiameterPx' | 'frameWidthPx' | 'frameHeightPx' | 'tracks'>,
    Pick<RehearsalSettings, 'phaseAngleDeg' | 'brightLimbDeg' | 'extinction'> {
  readonly captureSettings: Pick<CaptureSettings, 'body' | 'site' | 'optics'> & {
    /** Of the pixels of the rehearsed frames. */
    readonly sensor: { readonly widthPx: number; readonly heightPx: number; readonly pitchUm: number };
  };
}

/**
 * The settings of a rehearsal of planned passes of the Moon: same optics, site, night, aims, order and times. Every aim errs
 * by a draw from the disc of the plan's pointing error. Where each frame lies is asked of the sky at its moment, for a
 * camera that stands still: neither the plan's drift, bend nor turn goes in. Pixels are larger than the camera's, so that frames
 * are small; the field stays the same. The settings of the capture are those of the plan, of a sensor with such pixels. Truth
 * has the zenith up as in the middle of the first pass.
 *
 * @param options what the plan was asked
 * @param shots what it answered
 * @throws UsageError for another body, or a crescent thinner than `rehearse` can draw
 */
export function planRehearsal(options: PlanOptions, shots: ShotList, how: PlanRehearsalOptions = {}): PlanRehearsal {
  const { seed = 1, shorterSidePx = 480, framesPerCrossing = 8 } = how;
  requireRange('shorterSidePx', shorterSidePx, 64, 16_384);
  requireRange('framesPerCrossing', framesPerCrossing, 2, 1000);
  const rig = rigOf(options);
  const { phaseAngleDeg, brightLimbPositionAngleDeg } = shots.disc;
  if (rig.body !== 'Moon' || phaseAngleDeg === null || brightLimbPositionAngleDeg === null) {
    throw new UsageError(`the body is ${rig.body}; only passes of the Moon can be rehearsed`);
  }
  const binned = Math.max(1, Math.min(rig.widthPx, rig.heightPx) / shorterSidePx);
  const scale = shots.camera.scaleArcsecPerPx * binned;
  const first = seenAt(rig, shots.passes[0]!.middleMs);
  const truth: Truth = {
    zenithDeg: first.parallacticAngleDeg - axisOf(first),
    radiusPx: shots.disc.radiusArcsec / scale,
  };
  const random = createRandom(`${seed}/aims`);
  const [widthPx, heightPx] = [Math.floor(rig.widthPx / binned), Math.floor(rig.heightPx / binned)];
  // The drawn clock is right.
  const { clockOffsetS: _, ...place } = options.site!;
  return {
    seed,
    captureSettings: {
      body: 'moon',
      site: { ...place, heightM: rig.site.heightM },
      optics: options.optics!,
      sensor: { widthPx, heightPx, pitchUm: rig.pitchUm * binned },
    },
    discDiameterPx: 2 * truth.radiusPx,
    frameWidthPx: widthPx,
    frameHeightPx: heightPx,
    phaseAngleDeg,
    brightLimbDeg: signedDeg(90 + brightLimbPositionAngleDeg - first.parallacticAngleDeg),
    extinction: Math.max(0, 1 - 2 ** -shots.passes.at(-1)!.extinctionStops.green),
    tracks: shots.passes.map((pass, k) => {
      const camera = cameraOf(pass, shots, rig, random.fork(`${k}`));
      return momentsOf(pass, framesPerCrossing).map((at) => placeAt(rig, camera, at, truth, scale));
    }),
  };
}

/** The truth's axes and size. */
interface Truth {
  /** Position angle of the truth's upward direction, against the body's axis. */
  readonly zenithDeg: number;
  readonly radiusPx: number;
}

function seenAt(rig: Rig, atMs: number): Ephemeris {
  return ephemeris(rig.body, new Date(atMs), rig.site, rig.air);
}

function axisOf(body: Ephemeris): number {
  return body.frame!.axisPositionAngleDeg;
}

/** The camera of a pass, its aim off by a draw from the disc of the pointing error. */
function cameraOf({ aim }: PlannedPass, { camera }: ShotList, rig: Rig, random: Random): LockedCamera {
  const off = (rig.pointingErrorArcsec / 3600) * Math.sqrt(random.uniform());
  const way = 2 * Math.PI * random.uniform();
  return {
    altitudeDeg: aim.altitudeDeg + off * Math.sin(way),
    azimuthDeg: aim.azimuthDeg + (off * Math.cos(way)) / Math.cos(aim.altitudeDeg * DEG),
    rollFromVerticalDeg: camera.rollFromVerticalDeg,
  };
}

/** Moments of a pass from its start to its end, so many in the time in which ground crosses the frame. */
function momentsOf(pass: PlannedPass, perCrossing: number): number[] {
  const startMs = pass.middleMs - 500 * pass.driftS;
  const crossings = (pass.driftS * pass.speedPxPerS) / pass.reachPx;
  const count = Math.min(9999, Math.max(2, Math.ceil(perCrossing * crossings) + 1));
  return Array.from({ length: count }, (_, k) => startMs + (1000 * pass.driftS * k) / (count - 1));
}

/** Where a frame lies on the truth: the affine map of the sky into the frame, turned about. */
function placeAt(rig: Rig, camera: LockedCamera, atMs: number, truth: Truth, scale: number): TrackPlace {
  const body = seenAt(rig, atMs);
  const radius = ARCSEC * Math.tan((body.angularDiameterArcsec / 7200) * DEG);
  // The truth's right and down, as places of the sky at this moment.
  const up = (axisOf(body) + truth.zenithDeg) * DEG;
  const seen = (right: number, down: number): InFrame =>
    inLockedFrame(camera, body, rig.air, {
      xArcsec: radius * (right * Math.cos(up) + down * Math.sin(up)),
      yArcsec: radius * (right * Math.sin(up) - down * Math.cos(up)),
    });
  const [centre, right, left, down, above] = [seen(0, 0), seen(1, 0), seen(-1, 0), seen(0, 1), seen(0, -1)];
  // Frame px (down positive) for a radius of the truth to the right and for one down.
  const [xr, yr] = [(right.x - left.x) / 2 / scale, (left.y - right.y) / 2 / scale];
  const [xd, yd] = [(down.x - above.x) / 2 / scale, (above.y - down.y) / 2 / scale];
  const area = xr * yd - xd * yr;
  // Truth radii for a px of the frame: rows (a, b) to the right, (c, d) down.
  const [a, b, c, d] = [yd / area, -xd / area, -yr / area, xr / area];
  const [x, y] = [-centre.x / scale, centre.y / scale];
  return {
    cx: truth.radiusPx * (a * x + b * y),
    cy: truth.radiusPx * (c * x + d * y),
    thetaDeg: Math.atan2(c - b, a + d) / DEG,
    squeeze: Math.hypot(c, d) / Math.hypot(a, b),
    utc: new Date(atMs).toISOString(),
  };
}
