import { ARCSEC, DEG } from './angles.js';
import type { Drift } from './drift.js';
import { requireRange } from './types.js';

/** A camera behind a telescope, as far as drift is concerned. */
export interface DriftCamera {
  /** Of the whole optics, mm. */
  readonly focalLengthMm: number;
  /** Distance of pixel centres, µm. */
  readonly pitchUm: number;
  /** Position angle of the frame's upper edge, degrees from north through east; the parallactic angle when levelled. */
  readonly angleDeg: number;
}

/** Drift of a body in the frame (space 2: x right, y down). */
export interface CameraDrift {
  /** Arcseconds per pixel at the middle of the frame. */
  readonly scaleArcsecPerPx: number;
  readonly xPxPerS: number;
  readonly yPxPerS: number;
  readonly speedPxPerS: number;
  /** Turn of the body in the frame, or of the sky for a planet: degrees per second, anticlockwise as displayed. */
  readonly rotationDegPerS: number;
}

/** What a rolling shutter does to a body that drifts. */
export interface RollingShutter {
  /** Shift to the right for each row downwards, px per px. */
  readonly shearPxPerRow: number;
  /** Recorded over true height: below 1 when the body moves up, against the readout. */
  readonly verticalScale: number;
}

/** The drift in the axes and pixels of a camera. Throws `UsageError` for a camera that cannot be. */
export function cameraDrift(motion: Drift, camera: DriftCamera): CameraDrift {
  requireRange('focalLengthMm', camera.focalLengthMm, 1, 1e6);
  requireRange('pitchUm', camera.pitchUm, 0.1, 1000);
  requireRange('angleDeg', camera.angleDeg, -360, 360);
  const scaleArcsecPerPx = (ARCSEC * camera.pitchUm) / (1000 * camera.focalLengthMm);
  const angle = camera.angleDeg * DEG;
  const west = motion.westArcsecPerS / scaleArcsecPerPx;
  const north = motion.northArcsecPerS / scaleArcsecPerPx;
  return {
    scaleArcsecPerPx,
    xPxPerS: west * Math.cos(angle) + north * Math.sin(angle),
    yPxPerS: west * Math.sin(angle) - north * Math.cos(angle),
    speedPxPerS: Math.hypot(west, north),
    rotationDegPerS: motion.bodyRotationDegPerS ?? motion.fieldRotationDegPerS,
  };
}

/** Seconds in which the body drifts over a distance along its path, px. */
export function crossingTimeS(motion: CameraDrift, distancePx: number): number {
  requireRange('distancePx', distancePx, 0, 1e9);
  return distancePx / motion.speedPxPerS;
}

/** The longest exposure, seconds, whose smear stays within a length; half a pixel unless said otherwise. */
export function longestExposureS(motion: CameraDrift, smearPx = 0.5): number {
  requireRange('smearPx', smearPx, 1e-3, 1e3);
  return smearPx / motion.speedPxPerS;
}

/** Shear and squeeze by a shutter that reads `rows` rows from the top down in `readoutMs`. */
export function rollingShutter(motion: CameraDrift, readoutMs: number, rows: number): RollingShutter {
  requireRange('readoutMs', readoutMs, 0, 10_000);
  requireRange('rows', rows, 1, 1e6);
  const rowS = readoutMs / 1000 / rows;
  return { shearPxPerRow: motion.xPxPerS * rowS, verticalScale: 1 / (1 - motion.yPxPerS * rowS) };
}
