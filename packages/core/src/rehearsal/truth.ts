import type { Studio } from './frame.js';
import type { Intruder } from './intruders.js';
import type { TruePass } from './poses.js';
import type { Scene } from './scene.js';
import type { RehearsalSettings } from './settings.js';
import type { WarpSummary } from './warp-meter.js';

/** Scene value that the full scale of truth.png stands for. */
const TRUTH_SCALE = 1.5;

/** Pixels of truth.png: 16-bit grey, linear, full scale 1.5. */
export function truthPixels(scene: Scene): Uint16Array {
  const pixels = new Uint16Array(scene.light.length);
  for (let i = 0; i < pixels.length; i++) {
    pixels[i] = Math.min(65535, Math.max(0, Math.round((scene.light[i]! / TRUTH_SCALE) * 65535)));
  }
  return pixels;
}

/** What poses.json holds. `D` is the longer side of the lit ground, frame px. */
export function poseFile(settings: RehearsalSettings, passes: readonly TruePass[], D: number, os: number): object {
  return {
    case: 'rehearsal',
    seed: settings.seed,
    frame: [settings.frameWidthPx, settings.frameHeightPx],
    D,
    os,
    linear: false,
    poses: Object.fromEntries(passes.map((pass) => [pass.name, pass.poses])),
  };
}

/** What truth.json holds. */
export function describeTruth(
  studio: Studio,
  D: number,
  warp: WarpSummary,
  intruders: Readonly<Record<string, readonly Intruder[]>>,
): object {
  const { scene, oversampling: os, settings } = studio;
  const { centreX, centreY, radiusPx } = scene.disc;
  return {
    os,
    D,
    value: 'pixel / 65535 * 1.5 = mean of linear R, G, B; 1 = 99.7th percentile of the lit ground',
    width: scene.width,
    height: scene.height,
    capture_centre_px: studio.captureCentre,
    frame_to_truth: [
      'px = column - (frame width - 1) / 2, py = row - (frame height - 1) / 2, t = theta_deg',
      'truth x = (px cos t - py sin t + cx) * os + capture_centre x',
      'truth y = ((px sin t + py cos t) * squeeze + cy) * os + capture_centre y   (cx, cy, theta_deg, squeeze of the frame in poses.json; air wobble of the frames left out)',
    ],
    frame_signal:
      'sRGB curve of flat * (gain * blurred truth + sky) + noise; flat = flat.png / 65535; sigma of the blur in frame px',
    disc: {
      diameter_px: 2 * radiusPx,
      centre_px: [centreX, centreY],
      diameter_frame_px: (2 * radiusPx) / os,
    },
    sun: scene.sun,
    convention:
      'integer pixel coordinates are pixel centres; x to the right, y down; top-left pixel centre = (0, 0); sun in axes x right, y down, z to the observer; celestial south up',
    mean_warp: { rms_px: warp.rmsPx },
    covered: warp.coveredShare,
    intruders,
    seed: settings.seed,
    settings,
  };
}
