import type { CaptureSettings } from '../capture/settings-types.js';
import { UsageError } from '../job/errors.js';

/** How the air disturbs the frames; all lengths are rms or sigma in frame px. */
export interface RehearsalSeeing {
  /** Shift common to a whole frame, rms per axis. It is part of the frame's pose. */
  readonly tiltPx: number;
  /** Local displacement, rms per axis. It is not part of the pose. */
  readonly warpPx: number;
  /** Sigma of the whole system's blur in the calmest and in the worst moments. 0 and 0: no blur at all. */
  readonly blurPx: readonly [number, number];
  /** Frames over which a disturbance dies away to 1/e; 0 makes every frame independent. */
  readonly correlationFrames: number;
  /** Distance over which a local displacement dies away, share of the frame's shorter side. */
  readonly correlationShare: number;
}

/**
 * Where a frame lies on the truth, the air's shaking left out: as in poses.json (see `TruePose`), but counted from the
 * disc's centre. Lengths are frame px of an x to the right and a y down, angles degrees.
 */
export interface TrackPlace {
  readonly cx: number;
  readonly cy: number;
  readonly thetaDeg: number;
  readonly squeeze: number;
  /** When it was exposed, ISO 8601 in UTC; written into the frame's Exif. Default: nobody knows. */
  readonly utc?: string;
}

/** Everything that a rehearsal is made from. Lengths are frame px, light is linear, 1 is the sensor's clipping point. */
export interface RehearsalSettings {
  /** Same seed and settings, same files, bit for bit. */
  readonly seed: number;
  /** Diameter of the whole disc. */
  readonly discDiameterPx: number;
  readonly frameWidthPx: number;
  readonly frameHeightPx: number;
  /** Number of passes; 0 takes as many as the lit ground needs. */
  readonly passes: number;
  readonly framesPerPass: number;
  /**
   * Share of the frame's height that neighbouring passes have in common at least: more passes than are needed overlap
   * more, fewer leave the ends of the disc uncovered.
   */
  readonly overlap: number;
  /**
   * Where the frames of every pass lie, in recording order, in place of passes that are laid out by `passes`,
   * `framesPerPass`, `overlap`, `rotationsDeg`, `maxRotationDeg`, `declinationDeg` and `squeeze`; none: as these say.
   * `planRehearsal` makes them from a plan.
   */
  readonly tracks: readonly (readonly TrackPlace[])[];
  /** What the `capture.yaml` of the capture says besides that it is synthetic; `planRehearsal` tells it. */
  readonly captureSettings?: Pick<CaptureSettings, 'body' | 'site' | 'optics' | 'sensor'>;
  /** Passes to leave out, counted from 0 in recording order, so that the capture has a gap. */
  readonly omitPasses: readonly number[];
  /** Camera roll of each pass; where there is none, it is drawn within `maxRotationDeg`. The first pass has 0. */
  readonly rotationsDeg: readonly number[];
  readonly maxRotationDeg: number;
  /** Angle Sun-Moon-observer: 0 is full, 90 the quarter. */
  readonly phaseAngleDeg: number;
  /** Where the bright limb points in the frame: 0 to the right, 90 upwards. */
  readonly brightLimbDeg: number;
  /** The Moon's declination: bends the path and turns the field while it drifts. */
  readonly declinationDeg: number;
  /** Vertical scale by differential refraction at the first and the last frame of the night. */
  readonly squeeze: readonly [number, number];
  readonly seeing: RehearsalSeeing;
  /** The air's dispersion: distance from red to blue, frame px, green half way between them. */
  readonly dispersionPx: number;
  /** Where the zenith is in the frame, towards which blue is lifted most: 0 to the right, 90 upwards. */
  readonly zenithDeg: number;
  /** Gain at the start: recorded light of scene value 1. */
  readonly gain: number;
  /** Offset of the gain between passes, rms, as a share. */
  readonly gainSpread: number;
  /** Share of the light that extinction takes from the first frame to the last. */
  readonly extinction: number;
  /** Sky level at the start. */
  readonly sky: number;
  /** Dusk: sky level that is added at the start and halves every `duskHalvingPasses`. */
  readonly dusk: number;
  readonly duskHalvingPasses: number;
  /** Light lost in the corners, as a share. */
  readonly vignetting: number;
  /** Number of dust shadows. */
  readonly dust: number;
  /** Number of hot pixels. */
  readonly hotPixels: number;
  /** Number of bright straight trails in each pass, each in one frame, and the light that they add. */
  readonly trails: number;
  readonly trailLevel: number;
  /** Number of opaque bodies that cross each pass within one to three consecutive frames. */
  readonly birds: number;
  /** Number of single pixels in each frame that a particle lights. */
  readonly hitsPerFrame: number;
  /** Electrons at the clipping point, which set the shot noise; 0 is no noise at all. */
  readonly fullWellElectrons: number;
  readonly readNoiseElectrons: number;
  readonly bits: 8 | 16;
  readonly format: 'png' | 'tif';
}

/** The settings of a rehearsal that asks for nothing: a waxing Moon in two passes on a small sensor. */
export const REHEARSAL_DEFAULTS: RehearsalSettings = {
  seed: 3,
  discDiameterPx: 1150,
  frameWidthPx: 960,
  frameHeightPx: 640,
  passes: 0,
  framesPerPass: 12,
  overlap: 0.14,
  tracks: [],
  omitPasses: [],
  rotationsDeg: [],
  maxRotationDeg: 0.9,
  phaseAngleDeg: 64,
  brightLimbDeg: -14,
  declinationDeg: 19,
  squeeze: [1.0005, 0.9985],
  seeing: { tiltPx: 1.2, warpPx: 0.7, blurPx: [0.9, 1.4], correlationFrames: 0.8, correlationShare: 0.16 },
  dispersionPx: 0,
  zenithDeg: 90,
  gain: 0.5,
  gainSpread: 0.08,
  extinction: 0.05,
  sky: 0.006,
  dusk: 0,
  duskHalvingPasses: 1,
  vignetting: 0.12,
  dust: 9,
  hotPixels: 12,
  trails: 0,
  trailLevel: 0.05,
  birds: 0,
  hitsPerFrame: 0,
  fullWellElectrons: 70000,
  readNoiseElectrons: 9,
  bits: 8,
  format: 'png',
};

/** Fills in what is missing and refuses what cannot be honoured. Throws {@link UsageError}. */
export function completeSettings(given: Partial<RehearsalSettings>): RehearsalSettings {
  const settings = { ...REHEARSAL_DEFAULTS, ...given };
  const { seeing, squeeze } = settings;
  demand('discDiameterPx', settings.discDiameterPx, 150, 12000);
  demandWhole('frameWidthPx', settings.frameWidthPx, 64, 16384);
  demandWhole('frameHeightPx', settings.frameHeightPx, 64, 16384);
  demandWhole('passes', settings.passes, 0, 60);
  demandWhole('framesPerPass', settings.framesPerPass, 1, 9999);
  demandWhole('tracks.length', settings.tracks.length, 0, 99);
  for (const track of settings.tracks) demandTrack(track);
  demand('overlap', settings.overlap, 0, 0.9);
  demand('maxRotationDeg', settings.maxRotationDeg, 0, 45);
  demand('phaseAngleDeg', settings.phaseAngleDeg, 0, 150);
  demand('brightLimbDeg', settings.brightLimbDeg, -360, 360);
  demand('declinationDeg', settings.declinationDeg, -32, 32);
  demand('squeeze', squeeze[0], 0.9, 1.1);
  demand('squeeze', squeeze[1], 0.9, 1.1);
  demand('seeing.tiltPx', seeing.tiltPx, 0, 100);
  demand('seeing.warpPx', seeing.warpPx, 0, 50);
  demand('seeing.blurPx', seeing.blurPx[0], 0, 20);
  demand('seeing.blurPx', seeing.blurPx[1], seeing.blurPx[0], 20);
  demand('seeing.correlationFrames', seeing.correlationFrames, 0, 1e6);
  demand('seeing.correlationShare', seeing.correlationShare, 0.02, 2);
  demand('dispersionPx', settings.dispersionPx, 0, 50);
  demand('zenithDeg', settings.zenithDeg, -360, 360);
  demand('gain', settings.gain, 0.001, 1);
  demand('gainSpread', settings.gainSpread, 0, 0.5);
  demand('extinction', settings.extinction, 0, 0.95);
  demand('sky', settings.sky, 0, 0.5);
  demand('dusk', settings.dusk, 0, 0.5);
  demand('duskHalvingPasses', settings.duskHalvingPasses, 0.01, 1000);
  demand('vignetting', settings.vignetting, 0, 0.8);
  demandWhole('dust', settings.dust, 0, 1000);
  demandWhole('hotPixels', settings.hotPixels, 0, 100000);
  demandWhole('trails', settings.trails, 0, 1000);
  demand('trailLevel', settings.trailLevel, 0, 1);
  demandWhole('birds', settings.birds, 0, 1000);
  demandWhole('hitsPerFrame', settings.hitsPerFrame, 0, 10000);
  demand('fullWellElectrons', settings.fullWellElectrons, 0, 1e7);
  demand('readNoiseElectrons', settings.readNoiseElectrons, 0, 1e4);
  if (settings.bits !== 8 && settings.bits !== 16) refuse('bits', settings.bits, '8 or 16');
  if (settings.format !== 'png' && settings.format !== 'tif') refuse('format', settings.format, "'png' or 'tif'");
  return settings;
}

function demandTrack(track: readonly TrackPlace[]): void {
  demandWhole('tracks: number of places', track.length, 1, 9999);
  for (const { cx, cy, thetaDeg, squeeze, utc } of track) {
    if (utc !== undefined && Number.isNaN(Date.parse(utc))) refuse('tracks.utc', utc, 'a moment in ISO 8601');
    demand('tracks.cx', cx, -1e5, 1e5);
    demand('tracks.cy', cy, -1e5, 1e5);
    demand('tracks.thetaDeg', thetaDeg, -360, 360);
    demand('tracks.squeeze', squeeze, 0.9, 1.1);
  }
}

function demand(name: string, value: number, least: number, most: number): void {
  if (!(value >= least && value <= most)) refuse(name, value, `a number from ${least} to ${most}`);
}

function demandWhole(name: string, value: number, least: number, most: number): void {
  if (!Number.isInteger(value) || value < least || value > most) {
    refuse(name, value, `a whole number from ${least} to ${most}`);
  }
}

function refuse(name: string, value: unknown, expected: string): never {
  throw new UsageError(`${name} is ${JSON.stringify(value)}; give ${expected}`);
}
