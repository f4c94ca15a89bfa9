import type { CalibrationKind, Notice } from '../capture/pass.js';
import type { TimeSource } from '../capture/time-resolve.js';
import { type Affine, compose, translation } from '../compute/affine.js';
import type { LeftOut } from '../job/errors.js';
import type { FineFigures } from '../photometry/fine-stage.js';
import type { SmoothPattern } from '../photometry/pattern.js';
import type { OverlapFigures } from '../placement/overlap-verdict.js';
import type { EdgeReport, PlacedBy } from '../placement/place-stage.js';
import type { ColourShift } from '../registration/colour-shift.js';
import type { TrackGap } from '../registration/track.js';
import type { SharpChoice } from '../strip/sharp-weights.js';
import type { Background } from './background.js';
import type { CropPlace } from './crop.js';
import type { Gap } from './gaps.js';
import type { HashedFile } from './hashed-file.js';
import type { LimbModel } from './limb-model.js';
import type { MasterColour, MasterPrimaries } from './master-colour.js';
import type { PlateTiffResult } from './tiff.js';
import type { Whereabouts, WhereUnknown } from './whereabouts.js';

/** Version of the sidecar's layout; grows when a field changes its meaning or goes. */
export const SIDECAR_VERSION = 1;

/** A frame that is in the plate. */
export interface SidecarFrame extends HashedFile {
  /** Place in the recording, from 0. */
  readonly index: number;
  /**
   * When its exposure began, ISO 8601 in UTC; where that is known from, and how far off it can be if the clock was right.
   * Null where it is not known.
   */
  readonly time: { readonly utc: string; readonly from: TimeSource; readonly uncertaintyS: number | null } | null;
  /** Share by its sharpness as a whole, 0..1, as passes are tracked with; in the strip it is weighed place by place. */
  readonly weight: number;
  /** Share of the frame that shows what no other frame does, such as a bird or a trail, and is not in the plate, 0..1. */
  readonly intruded: number;
  /** Against the mean of the frames that show the same ground. */
  readonly sharpness: number;
  /** Frame px (space 2) -> plate px (space 4): x' = xx·x + xy·y + tx, y' = yx·x + yy·y + ty. */
  readonly pose: Affine;
  /** Distance from the pass's smooth path, frame px. */
  readonly offPathPx: number;
  /** recorded / pattern = gain · plate + sky + slope · position, one entry a channel, linear light. */
  readonly gain: readonly number[];
  readonly sky: readonly number[];
  readonly slopeX: readonly number[];
  readonly slopeY: readonly number[];
  readonly skyLevel: number;
  readonly brightLevel: number;
  readonly noise: number;
  readonly clipped: number;
  readonly bitsPerSample: number;
  readonly curve: string;
  readonly notes: readonly string[];
}

/** One pass in the sidecar. */
export interface SidecarPass {
  readonly name: string;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly channels: 1 | 3;
  /** The time code of a clip, as it records it. */
  readonly timeCode: string | null;
  readonly placed: boolean;
  /** By overlaps with other passes, on the guide, by its limb and the way of the sky through it, or not at all. */
  readonly placedBy: PlacedBy;
  /** How far the strip was bent to meet those that it overlaps with, rms per axis, frame px. */
  readonly joinPx: number;
  /** How strongly sharp moments were preferred, and what was weighed up; null for a pass that is not in the plate. */
  readonly sharp: SharpChoice | null;
  /** Shifts of red and blue against green that were found, frame px; null where they could not be. */
  readonly colour: ColourShift | null;
  /** Pixels of the sensor that were mended: they stand out in most frames. */
  readonly defects: number;
  readonly frames: readonly SidecarFrame[];
  /** Figures of the track, frame px. */
  readonly track: {
    readonly rotationDegPerFrame: number;
    readonly squeezePerFrame: number;
    readonly tiltPx: number;
    readonly warpPx: number;
    /** Bends of the frames by the air that were undone, rms per axis. */
    readonly bendPx: number;
    readonly pairs: number;
    readonly pairResidualPx: number;
    /** Where the recording's cadence was broken, as the drift shows it. */
    readonly gaps: readonly TrackGap[];
  };
}

/** An overlap of two passes in the sidecar; its residual is in frame px. */
export type SidecarOverlap = EdgeReport;

/** Frames of one kind that tell about the sensor, in the sidecar. */
export interface SidecarCalibration {
  readonly kind: CalibrationKind;
  readonly files: readonly { readonly file: string; readonly sha256: string }[];
  /** Names of the passes whose frames are of their size; a bias is used where there is no dark. */
  readonly usedFor: readonly string[];
}

/** The JSON beside the plate: where every pixel came from. Holds no date, so the same input gives the same bytes. */
export interface Sidecar {
  readonly format: 'plenilune-plate';
  readonly version: typeof SIDECAR_VERSION;
  readonly software: { readonly name: string; readonly version: string; readonly code: string };
  readonly plate: HashedFile & {
    readonly widthPx: number;
    readonly heightPx: number;
    readonly bits: 16;
    readonly encoding: 'sRGB' | 'linear' | 'BT.709' | 'BT.1886';
    readonly primaries: MasterPrimaries;
    /** With a background that was cut off, coverage times matte. */
    readonly alpha: 'coverage' | 'coverage-and-matte';
    /** The light of the sky: kept, taken off everywhere, or taken off and all outside the disc cut away. */
    readonly background: Background;
    /** Share of the plate's pixels that hold light, 0..1. */
    readonly covered: number;
    readonly bytes: number;
    readonly bigtiff: boolean;
    /** Pages of the pyramid, the plate included. */
    readonly levels: number;
    readonly clippedLow: number;
    readonly clippedHigh: number;
  };
  readonly preview: HashedFile & { readonly widthPx: number; readonly heightPx: number; readonly gain: number };
  /** Every file that was written but this one, the two above included, deep-zoom tiles one by one. */
  readonly files: readonly HashedFile[];
  /** Frames that were cut from the plate. */
  readonly crops: readonly SidecarCrop[];
  /** The disc on the plate, plate px, its edge and its sky in linear light, where an output needed them and they could be found. */
  readonly limb: LimbModel | null;
  readonly complete: boolean;
  /** Where the plate lies on its body, or why that is not known. */
  readonly where: Whereabouts | WhereUnknown;
  readonly gaps: readonly Gap[];
  /** The guide is the picture of the whole disc that helped to place passes, when the capture has one. */
  readonly capture: {
    readonly name: string;
    /** Whether a program drew the frames, as `capture.yaml` says. */
    readonly synthetic: boolean;
    readonly guide: { readonly item: string; readonly sha256: string } | null;
    readonly calibration: readonly SidecarCalibration[];
  };
  readonly settings: { readonly curve: string };
  /** What was used all the same, but is worth knowing. */
  readonly notices: readonly Notice[];
  readonly passes: readonly SidecarPass[];
  readonly overlaps: readonly SidecarOverlap[];
  /** How well the overlaps agree as a whole, frame px. */
  readonly agreement: OverlapFigures;
  readonly light: {
    /** Name of the pass whose light and sky the plate keeps. */
    readonly referencePass: string;
    readonly pattern: SmoothPattern;
    /** Dust shadows and the like on top of it, which were undone, too. */
    readonly fine: FineFigures;
    /** Robust spread of what the light model leaves, relative. */
    readonly residual: number;
    /** Pyramid levels over which strips were joined. */
    readonly blendLevels: number;
  };
  readonly leftOut: readonly (LeftOut & { readonly sha256?: string })[];
}

/** A frame in the sidecar: where it lies on the plate, and how far its picture can be enlarged. */
export interface SidecarCrop extends CropPlace {
  readonly file: string;
}

/** Facts about the written files. */
export interface WrittenFiles extends Pick<Sidecar, 'preview' | 'files' | 'crops' | 'limb'> {
  readonly plate: HashedFile & PlateTiffResult;
  readonly colour: MasterColour;
  readonly background: Background;
  readonly notices: readonly Notice[];
}

/** Pose on the plate whose first pixel lies at (x0, y0) of the space that the pose maps to. */
export function onPlate(pose: Affine, x0: number, y0: number): Affine {
  return compose(translation(-x0, -y0), pose);
}
