import type { Random } from '../compute/random.js';
import { UsageError } from '../job/errors.js';
import { frameLights } from './light.js';
import { blurTrack, tiltTrack } from './seeing.js';
import type { RehearsalSettings, TrackPlace } from './settings.js';

/** Mean apparent diameter of the Moon, degrees. */
const MOON_DIAMETER_DEG = 0.518;

/** Half the way of the frame's centre across the lit ground, share of its longer side. */
const HALF_DRIFT = 0.43;

/**
 * Where one frame lies on the truth, and in what light it was taken. The names are those of poses.json. With
 * px = column - (frame width - 1) / 2, py = row - (frame height - 1) / 2 and t = theta_deg, lengths in frame px:
 * x = px cos t - py sin t + cx, y = (px sin t + py cos t) * squeeze + cy, counted from the capture's centre.
 */
export interface TruePose {
  readonly frame: number;
  readonly theta_deg: number;
  readonly cx: number;
  readonly cy: number;
  readonly squeeze: number;
  /** Sigma of the blur, frame px. */
  readonly sigma: number;
  readonly gain: number;
  readonly sky: number;
  /** When it was exposed, ISO 8601 in UTC, where the rehearsal has a clock. */
  readonly utc?: string;
}

/** One pass of the rehearsed night. */
export interface TruePass {
  readonly name: string;
  /** Place in recording order, omitted passes counted. */
  readonly position: number;
  readonly poses: readonly TruePose[];
}

/** Size of the lit ground, frame px. */
export interface LitSize {
  readonly width: number;
  readonly height: number;
}

/** Plans the night from bottom to top, without the passes that `omitPasses` names. */
export function planPasses(settings: RehearsalSettings, lit: LitSize, random: Random): TruePass[] {
  const centres = passCentres(settings, lit.height);
  const names = passNames(centres.length);
  const passes = centres.map((cy, position) => {
    const source = random.fork(`pass-${position}`);
    const places = driftOver(settings, lit, source, cy, position, centres.length);
    return recorded(settings, source, places, position, centres.length, names[position]!);
  });
  return withoutOmitted(passes, settings);
}

/** Throws {@link UsageError} when a pass is named that does not exist, or none is left. */
function withoutOmitted(passes: readonly TruePass[], { omitPasses }: RehearsalSettings): TruePass[] {
  const unknown = omitPasses.find((omitted) => !passes.some(({ position }) => position === omitted));
  if (unknown !== undefined) {
    throw new UsageError(`omitPasses has ${unknown}; there are ${passes.length} passes, counted from 0`);
  }
  const left = passes.filter(({ position }) => !omitPasses.includes(position));
  if (left.length === 0) throw new UsageError('omitPasses leaves no pass');
  return left;
}

/**
 * The passes of the settings' `tracks`, in their order, without those that `omitPasses` names. `discPx` is the disc's centre
 * counted from the capture's.
 */
export function trackPasses(
  settings: RehearsalSettings,
  discPx: readonly [number, number],
  random: Random,
): TruePass[] {
  const { tracks } = settings;
  const digits = String(tracks.length).length;
  const passes = tracks.map((track, position) => {
    const places = track.map((place) => ({ ...place, cx: place.cx + discPx[0], cy: place.cy + discPx[1] }));
    const name = `pass-${String(position + 1).padStart(digits, '0')}`;
    return recorded(settings, random.fork(`pass-${position}`), places, position, tracks.length, name);
  });
  return withoutOmitted(passes, settings);
}

/** Heights of the passes' centres below the capture's centre, lowest pass first. */
export function passCentres(settings: RehearsalSettings, litHeightPx: number): number[] {
  const { frameHeightPx } = settings;
  const margin = 0.01 * litHeightPx + 4 * settings.seeing.tiltPx + 4;
  const step = frameHeightPx * (1 - settings.overlap);
  const span = Math.max(0, litHeightPx + 2 * margin - frameHeightPx);
  const count = settings.passes > 0 ? settings.passes : 1 + Math.ceil(span / step - 1e-9);
  const spacing = count > 1 ? Math.min(step, Math.max(span / (count - 1), 0.1 * frameHeightPx)) : 0;
  return Array.from({ length: count }, (_, k) => ((count - 1) / 2 - k) * spacing);
}

/** Names in recording order: by place where there are words for it, numbered where there are not. */
export function passNames(count: number): string[] {
  if (count === 1) return ['whole'];
  if (count === 2) return ['lower', 'upper'];
  if (count === 3) return ['lower', 'middle', 'upper'];
  const digits = String(count).length;
  return Array.from({ length: count }, (_, k) => `pass-${String(k + 1).padStart(digits, '0')}`);
}

/** Where the frames of one pass lie while the body drifts through. */
function driftOver(
  settings: RehearsalSettings,
  lit: LitSize,
  source: Random,
  centreY: number,
  position: number,
  passCount: number,
): TrackPlace[] {
  const count = settings.framesPerPass;
  const reach = Math.max(HALF_DRIFT * Math.max(lit.width, lit.height), (lit.width - settings.frameWidthPx) / 2 + 12);
  const rollDeg = passRoll(settings, source, position);
  // The camera is re-aimed by hand: no pass is quite where it was meant to be.
  const aimX = 0.004 * lit.height * source.fork('aim-x').normal();
  const aimY = 0.004 * settings.frameHeightPx * clamp(source.fork('aim-y').normal(), 1.5);
  return Array.from({ length: count }, (_, k): TrackPlace => {
    const along = count > 1 ? -reach + (2 * reach * k) / (count - 1) : 0;
    const { bendPx, turnDeg } = driftAlong(settings, along);
    const night = nightShare(position, k, count, passCount);
    return {
      thetaDeg: rollDeg + turnDeg,
      cx: along + aimX,
      cy: centreY + aimY + bendPx,
      squeeze: settings.squeeze[0] + (settings.squeeze[1] - settings.squeeze[0]) * night,
    };
  });
}

/** A pass through these places, shaken by the air, in the light of its part of the night. */
function recorded(
  settings: RehearsalSettings,
  source: Random,
  places: readonly TrackPlace[],
  position: number,
  passCount: number,
  name: string,
): TruePass {
  const tilts = tiltTrack(settings.seeing, places.length, source.fork('tilt'));
  const blurs = blurTrack(settings.seeing, places.length, source.fork('blur'));
  const lights = frameLights(settings, places.length, position, passCount, source.fork('light'));
  const poses = places.map(
    ({ thetaDeg, cx, cy, squeeze, utc }, k): TruePose => ({
      frame: k,
      theta_deg: thetaDeg,
      cx: cx + tilts[k]![0],
      cy: cy + tilts[k]![1],
      squeeze,
      sigma: blurs[k]!,
      ...lights[k]!,
      ...(utc === undefined ? {} : { utc }),
    }),
  );
  return { name, position, poses };
}

/**
 * A fixed camera sees the body run along its circle of declination: over a drift of theta the field turns by
 * theta * tan(delta), and the path leaves its tangent by theta^2 * tan(delta) / 2 (sagitta theta^2 * tan(delta) / 8).
 * The truth has celestial south up, so the frame's centre runs to the right, and bends downwards, north, at positive delta.
 */
export function driftAlong(
  settings: Pick<RehearsalSettings, 'discDiameterPx' | 'declinationDeg'>,
  alongPx: number,
): { bendPx: number; turnDeg: number } {
  const tan = Math.tan((settings.declinationDeg * Math.PI) / 180);
  const driftDeg = (alongPx * MOON_DIAMETER_DEG) / settings.discDiameterPx;
  return { bendPx: (alongPx * ((driftDeg * Math.PI) / 180) * tan) / 2, turnDeg: driftDeg * tan };
}

/** 0 at the first frame of the night, 1 at the last. */
function nightShare(position: number, frame: number, frames: number, passes: number): number {
  const whole = passes * frames - 1;
  return whole > 0 ? (position * frames + frame) / whole : 0;
}

function passRoll(settings: RehearsalSettings, source: Random, position: number): number {
  const given = settings.rotationsDeg[position];
  if (given !== undefined) return given;
  return position === 0 ? 0 : settings.maxRotationDeg * (2 * source.fork('roll').uniform() - 1);
}

function clamp(value: number, limit: number): number {
  return Math.min(limit, Math.max(-limit, value));
}
