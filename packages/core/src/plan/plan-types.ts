import type { RollingShutter } from '../sky/camera-drift.js';
import type { Twilight } from '../sky/twilight.js';
import type { Air, SkyBody } from '../sky/types.js';
import type { ExposureStart } from './exposure-start.js';
import type { PlanMiss } from './missed.js';
import type { PlanMoment } from './plan-clock.js';
import type { SunWarning } from './sun-warning.js';

/** What the passes that the disc needs take of a window. */
export interface WindowFit {
  readonly passes: number;
  /** From the start of the first to the end of the last, seconds; about, where the window is too short. */
  readonly takesS: number;
  /** What the window has besides, seconds; below 0 it is too short by as much. */
  readonly spareS: number;
  /** When to begin aiming for the first pass, which may be before the window, and the end of the last; null if it is too short. */
  readonly during: { readonly setUp: PlanMoment; readonly end: PlanMoment } | null;
}

/** A window of time in which the wish holds. */
export interface PlannedWindow {
  /** From 1, the best; those that are too short for their passes come last. */
  readonly rank: number;
  readonly start: PlanMoment;
  readonly end: PlanMoment;
  /** When the body stands highest in it. */
  readonly best: PlanMoment;
  /** Hours, each weighed by the sine of the body's altitude. */
  readonly score: number;
  /** Lit share of the disc at the best moment, 0 to 1; null for the Sun. */
  readonly illuminatedFraction: number | null;
  /** What is good about it, in plain words with figures; last whether its passes fit in. */
  readonly reasons: readonly string[];
  /** Null when no number of passes would do. */
  readonly fit: WindowFit | null;
  readonly sun: SunWarning | null;
}

/** Light in the red, green and blue channel, stops. */
export interface ChannelStops {
  readonly red: number;
  readonly green: number;
  readonly blue: number;
}

/** Where a pass is aimed. Arcseconds in the tangent plane at the disc's centre as it is seen (space 5), at `middle`. */
export interface PassAim {
  /** Frame centre minus disc centre across the drift, positive to the north where the drift runs to the west. */
  readonly acrossArcsec: number;
  /** The same in diameters of the disc. */
  readonly acrossDiscs: number;
  /** The same along the axes of the sky. */
  readonly westArcsec: number;
  readonly northArcsec: number;
  /** Of the frame's centre, with air; azimuth from north through east. The camera stays there for the whole pass. */
  readonly altitudeDeg: number;
  readonly azimuthDeg: number;
  /** Position angle of the frame's upper edge. */
  readonly frameAngleDeg: number;
}

/** One pass of a plan. */
export interface PlannedPass {
  /** From 1, in the order of recording. */
  readonly number: number;
  readonly aim: PassAim;
  readonly start: PlanMoment;
  /** When the disc's centre is in the middle of the frame, milliseconds since 1970. */
  readonly middleMs: number;
  readonly end: PlanMoment;
  readonly driftS: number;
  readonly frames: number;
  /** Where the leading limb stands at the start: so far outside the edge at which it comes in. */
  readonly leadArcsec: number;
  readonly leadPx: number;
  /** Length of the frame along the drift. */
  readonly reachPx: number;
  /** Which edge that is. */
  readonly entersAt: 'left' | 'right' | 'top' | 'bottom';
  readonly speedPxPerS: number;
  readonly xPxPerS: number;
  readonly yPxPerS: number;
  /** With half a pixel of smear. */
  readonly longestExposureS: number;
  /** Null without a readout time. */
  readonly shutter: RollingShutter | null;
  /**
   * Width that the pass covers across the drift: that of the ground which crosses half of the frame's length at least, the
   * frame's side when it stands square to the drift.
   */
  readonly bandArcsec: number;
  /** Overlap with the next pass when both aims are true, in sides of the frame across the drift; null for the last. */
  readonly overlapWithNext: number | null;
  /** Turn of the disc in the frame against the first pass, degrees, anticlockwise as displayed. */
  readonly rotationDeg: number;
  /** Share by which the air flattens the disc, and by how much more than in the first pass. */
  readonly flattening: number;
  readonly flatteningChange: number;
  /** Of the disc's centre, with air. */
  readonly altitudeDeg: number;
  readonly airmass: number;
  /** Stops of light lost to the air against the first pass; positive is darker. */
  readonly extinctionStops: ChannelStops;
  readonly twilight: Twilight;
  readonly dataBytes: number;
}

/** The camera and its scale. */
export interface PlannedCamera {
  /** Of the whole optics. */
  readonly focalLengthMm: number;
  /** Null when it is not said; the ratio follows from it. */
  readonly apertureMm: number | null;
  readonly focalRatio: number | null;
  readonly pitchUm: number;
  readonly bitDepth: number;
  /** From the first row to the last; null when it is not said. */
  readonly readoutMs: number | null;
  readonly scaleArcsecPerPx: number;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly framesPerSecond: number;
  /** Frame's upper edge against the vertical at the aim, degrees from north through east; kept from pass to pass. */
  readonly rollFromVerticalDeg: number;
}

/** The disc in the middle of the first pass. Angles in degrees. */
export interface PlannedDisc {
  /** Without air. */
  readonly radiusArcsec: number;
  readonly radiusPx: number;
  readonly altitudeDeg: number;
  readonly parallacticAngleDeg: number;
  /** Null for planets. */
  readonly axisPositionAngleDeg: number | null;
  readonly phaseAngleDeg: number | null;
  readonly illuminatedFraction: number | null;
  readonly brightLimbPositionAngleDeg: number | null;
  /** Of the Moon; null for others. */
  readonly elongationDeg: number | null;
  readonly phaseName: string | null;
  readonly colongitudeDeg: number | null;
  readonly librationLongitudeDeg: number | null;
  readonly librationLatitudeDeg: number | null;
  /** The feature of the wish as seen, arcseconds of space 5; null when there is none, or it is behind the limb. */
  readonly feature: { readonly name: string; readonly westArcsec: number; readonly northArcsec: number } | null;
}

/** What the aims leave room for, arcseconds across the drift; the largest of all passes. */
export interface PlanMargins {
  readonly pointingArcsec: number;
  readonly skyArcsec: number;
  /** The path's bend over the frame. */
  readonly bendArcsec: number;
  /** What turn and flattening move between neighbours. */
  readonly shearArcsec: number;
  /** What flattening changes within a pass. */
  readonly breathArcsec: number;
  /** Share of the frame's side across the drift. */
  readonly overlap: number;
}

/** The shot list for one window. */
export interface ShotList {
  readonly window: number;
  readonly camera: PlannedCamera;
  readonly air: Air;
  readonly disc: PlannedDisc;
  readonly margins: PlanMargins;
  readonly passes: readonly PlannedPass[];
  /** When to begin aiming for the first pass: as long before its start as there is between passes. */
  readonly setUp: PlanMoment;
  readonly reaimS: number;
  readonly totalS: number;
  /** Of all frames at the camera's rate. */
  readonly totalBytes: number;
  /**
   * The least that will do, spread evenly over the passes: so many frames that ground which crosses the whole frame is in
   * four of them, and a dozen a pass at least.
   */
  readonly leastFrames: number;
  readonly leastBytes: number;
  /** Null for other bodies than the Moon, and without an aperture. */
  readonly exposure: ExposureStart | null;
}

/** What {@link plan} finds: plain data, as JSON keeps it. */
export interface Plan {
  readonly body: SkyBody;
  readonly timeZone: string;
  /** The best ones, the best first; `windowsFound` counts all. */
  readonly windows: readonly PlannedWindow[];
  readonly windowsFound: number;
  /** Whether there is a shot list for the chosen window; `reason` says why not. */
  readonly feasible: boolean;
  readonly reason: string | null;
  /** How near the span came to the wish when no window was found; else null. */
  readonly missed: PlanMiss | null;
  /** Passes that the disc would need, about, when there is no shot list because the window is too short. */
  readonly neededPasses: number | null;
  readonly shots: ShotList | null;
  /** What to mind about the Sun in any of the windows or passes. */
  readonly sun: SunWarning | null;
  /** What was taken for granted. */
  readonly assumptions: readonly string[];
}
