import { signedDeg } from '../sky/angles.js';
import { bodyToSky } from '../sky/body-frame.js';
import { longestExposureS, rollingShutter } from '../sky/camera-drift.js';
import { CHANNEL_NM } from '../sky/dispersion.js';
import { airmass, transmission } from '../sky/extinction.js';
import { moonPhase } from '../sky/phase.js';
import { throughAir } from '../sky/through-air.js';
import { twilight } from '../sky/twilight.js';
import { exposureStart, seenAltitude } from './exposure-start.js';
import { skyMarginArcsec, type TimedPass } from './layout.js';
import { momentIn } from './plan-clock.js';
import type { Rig } from './plan-options.js';
import type { ChannelStops, PlannedDisc, PlannedPass, ShotList } from './plan-types.js';
import type { Schedule } from './schedule.js';
import { aimAt, bendOf, breathOf, type Standing, shearBetween } from './standing.js';
import { featureCalled } from './wish-windows.js';

/** The shot list of a schedule for a window, by its rank; `featureName` is drawn when it is in view. */
export function shotList(rig: Rig, found: Schedule, window: number, featureName: string | undefined): ShotList {
  const passes = found.passes.map((_, k) => passOf(rig, found, k));
  const first = found.passes[0]!.standing;
  const standings = found.passes.map(({ standing }) => standing);
  const last = found.passes.at(-1)!;
  return {
    window,
    camera: {
      focalLengthMm: rig.focalLengthMm,
      apertureMm: rig.apertureMm,
      focalRatio: rig.apertureMm === null ? null : rig.focalLengthMm / rig.apertureMm,
      pitchUm: rig.pitchUm,
      bitDepth: rig.bitDepth,
      readoutMs: rig.readoutMs,
      scaleArcsecPerPx: first.camera.scaleArcsecPerPx,
      widthPx: rig.widthPx,
      heightPx: rig.heightPx,
      framesPerSecond: rig.framesPerSecond,
      rollFromVerticalDeg: first.rollFromVerticalDeg,
    },
    air: rig.air,
    disc: discOf(rig, first, featureName),
    margins: {
      pointingArcsec: rig.pointingErrorArcsec,
      skyArcsec: skyMarginArcsec(first),
      bendArcsec: Math.max(...standings.map(bendOf)),
      shearArcsec: Math.max(0, ...standings.slice(1).map((one, k) => shearBetween(standings[k]!, one))),
      breathArcsec: Math.max(...found.passes.map(({ standing, driftS }) => breathOf(standing, driftS))),
      overlap: rig.overlap,
    },
    passes,
    setUp: momentIn(rig.timeZone, found.passes[0]!.startMs - 1000 * rig.reaimS),
    reaimS: rig.reaimS,
    totalS: (last.startMs - found.passes[0]!.startMs) / 1000 + last.driftS,
    totalBytes: passes.reduce((sum, { dataBytes }) => sum + dataBytes, 0),
    ...leastOf(rig, passes),
    exposure: exposureStart(first, rig),
  };
}

function passOf(rig: Rig, { passes, aims, overlaps }: Schedule, k: number): PlannedPass {
  const { standing, startMs, driftS, leadArcsec }: TimedPass = passes[k]!;
  const first = passes[0]!.standing;
  const { moon, camera, motion, driftWest, driftNorth } = standing;
  const across = aims[k]!;
  const [west, north] = [-driftNorth * across, driftWest * across];
  const { altitudeDeg, azimuthDeg } = aimAt(moon, { xArcsec: west, yArcsec: north });
  const frames = Math.round(driftS * rig.framesPerSecond);
  const overlap = overlaps[k];
  return {
    number: k + 1,
    aim: {
      acrossArcsec: across,
      acrossDiscs: across / (2 * standing.radiusArcsec),
      westArcsec: west,
      northArcsec: north,
      altitudeDeg,
      azimuthDeg,
      frameAngleDeg: standing.frameAngleDeg,
    },
    start: momentIn(rig.timeZone, startMs),
    middleMs: standing.atMs,
    end: momentIn(rig.timeZone, startMs + 1000 * driftS),
    driftS,
    frames,
    leadArcsec,
    leadPx: leadArcsec / camera.scaleArcsecPerPx,
    reachPx: standing.reachArcsec / camera.scaleArcsecPerPx,
    entersAt: edgeOf(camera.xPxPerS, camera.yPxPerS),
    speedPxPerS: camera.speedPxPerS,
    xPxPerS: camera.xPxPerS,
    yPxPerS: camera.yPxPerS,
    longestExposureS: longestExposureS(camera),
    shutter: rig.readoutMs === null ? null : rollingShutter(camera, rig.readoutMs, rig.heightPx),
    bandArcsec: standing.bandArcsec,
    overlapWithNext: overlap === undefined ? null : overlap / standing.sideArcsec,
    rotationDeg: signedDeg(axisInFrame(standing) - axisInFrame(first)),
    flattening: flatteningOf(motion),
    flatteningChange: flatteningOf(motion) - flatteningOf(first.motion),
    altitudeDeg: moon.apparentAltitudeDeg,
    airmass: airmass(seenAltitude(moon.apparentAltitudeDeg)),
    extinctionStops: dimmerThan(rig, first, standing),
    twilight: twilight(new Date(standing.atMs), rig.site),
    dataBytes: bytesOf(rig, frames),
  };
}

/** Frames in which ground that crosses the whole frame is to be: from so many on, what only one shows can be left out. */
const SEEN = 4;
/** And so many frames of a pass at least. */
const DOZEN = 12;

function leastOf(rig: Rig, passes: readonly PlannedPass[]): Pick<ShotList, 'leastFrames' | 'leastBytes'> {
  const frames = passes.map(({ driftS, speedPxPerS, reachPx }) =>
    Math.max(DOZEN, Math.ceil((SEEN * driftS * speedPxPerS) / reachPx)),
  );
  const leastFrames = frames.reduce((sum, one) => sum + one, 0);
  return { leastFrames, leastBytes: bytesOf(rig, leastFrames) };
}

function bytesOf({ widthPx, heightPx, bitDepth }: Rig, frames: number): number {
  return Math.ceil((frames * widthPx * heightPx * bitDepth) / 8);
}

/** Position angle of the body's axis, or of north, against the frame's upper edge. */
function axisInFrame({ moon, frameAngleDeg }: Standing): number {
  return (moon.frame?.axisPositionAngleDeg ?? 0) - frameAngleDeg;
}

function flatteningOf({ verticalScale, horizontalScale }: Standing['motion']): number {
  return 1 - verticalScale / horizontalScale;
}

function edgeOf(xPxPerS: number, yPxPerS: number): PlannedPass['entersAt'] {
  if (Math.abs(xPxPerS) >= Math.abs(yPxPerS)) return xPxPerS > 0 ? 'left' : 'right';
  return yPxPerS > 0 ? 'top' : 'bottom';
}

function dimmerThan(rig: Rig, first: Standing, now: Standing): ChannelStops {
  const stops = (wavelengthNm: number): number => {
    const [before, after] = [first, now].map(({ moon }) =>
      transmission(seenAltitude(moon.apparentAltitudeDeg), wavelengthNm, rig.site.heightM),
    );
    return Math.log2(before! / after!);
  };
  return { red: stops(CHANNEL_NM.red), green: stops(CHANNEL_NM.green), blue: stops(CHANNEL_NM.blue) };
}

function discOf(rig: Rig, standing: Standing, featureName: string | undefined): PlannedDisc {
  const { moon, camera, radiusArcsec } = standing;
  const phase = rig.body === 'Moon' ? moonPhase(new Date(standing.atMs)) : null;
  const libration = rig.body === 'Moon' ? moon.frame!.subObserver : null;
  return {
    radiusArcsec,
    radiusPx: radiusArcsec / camera.scaleArcsecPerPx,
    altitudeDeg: moon.altitudeDeg,
    parallacticAngleDeg: moon.parallacticAngleDeg,
    axisPositionAngleDeg: moon.frame?.axisPositionAngleDeg ?? null,
    phaseAngleDeg: moon.phaseAngleDeg,
    illuminatedFraction: moon.illuminatedFraction,
    brightLimbPositionAngleDeg: moon.brightLimbPositionAngleDeg,
    elongationDeg: phase?.elongationDeg ?? null,
    phaseName: phase?.name ?? null,
    colongitudeDeg: moon.terminator?.colongitudeDeg ?? null,
    librationLongitudeDeg: libration?.longitudeDeg ?? null,
    librationLatitudeDeg: libration?.latitudeDeg ?? null,
    feature: featureName === undefined ? null : featureSeen(rig, standing, featureName),
  };
}

function featureSeen(rig: Rig, { moon }: Standing, name: string): PlannedDisc['feature'] {
  const feature = featureCalled(name);
  const place = bodyToSky(moon.frame!, feature);
  if (!place.visible) return null;
  const { xArcsec, yArcsec } = throughAir(moon, rig.air, place);
  return { name: feature.name, westArcsec: xArcsec, northArcsec: yArcsec };
}
