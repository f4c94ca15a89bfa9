import { type Affine, applyX, applyY, rotationDegOf } from '../compute/affine.js';

/**
 * The way of the sky through a pass: the direction in which its frames lie along the strip. The camera stands still
 * and the body runs along its circle of declination, so this direction is the same ground direction in every pass,
 * however the camera was turned between them (but for the field rotation between their middles).
 */
export interface Heading {
  /** Middle of the frames' centres, strip px (space 3). */
  readonly x: number;
  readonly y: number;
  /** Direction there, radians, x towards y; a way and its reverse count as the same. */
  readonly angleRad: number;
  readonly sigmaRad: number;
  /** Field rotation, radians per px of way. */
  readonly ratePerPx: number;
}

/** A frame of a pass: frame px -> strip px, and the frame's size. */
export interface HeadedFrame {
  readonly pose: Affine;
  readonly widthPx: number;
  readonly heightPx: number;
}

/** Fewer frames, or a shorter way as a share of the frame's diagonal, say nothing about the direction. */
const LEAST_FRAMES = 6;
const LEAST_WAY = 0.15;
/** The air's tilt lives on from frame to frame: its mean over a pass scatters by this much more than white noise. */
export const TILT_MEMORY = 1.4;
/** Change of the direction between passes by the body's own motion and by refraction, 1 σ, radians: 0.01°. */
const DRIFT_OF_HEADING_RAD = 2e-4;

/**
 * Fits the direction of a pass's way: an arc of known bend (the field rotation of the poses) through the frames'
 * centres, by least squares, with the tilt of the air estimated from the residuals. Undefined where the frames are too
 * few, the way is too short or too crooked to be a drift. Angles in the strip's space.
 */
export function headingOf(frames: readonly HeadedFrame[]): Heading | undefined {
  if (frames.length < LEAST_FRAMES) return undefined;
  const centres = frames.map(({ pose, widthPx, heightPx }) => ({
    x: applyX(pose, (widthPx - 1) / 2, (heightPx - 1) / 2),
    y: applyY(pose, (widthPx - 1) / 2, (heightPx - 1) / 2),
    turn: (rotationDegOf(pose) * Math.PI) / 180,
  }));
  const x = mean(centres.map((c) => c.x));
  const y = mean(centres.map((c) => c.y));
  const rough = principalAngle(centres, x, y);
  const along = centres.map((c) => (c.x - x) * Math.cos(rough) + (c.y - y) * Math.sin(rough));
  const across = centres.map((c) => (c.y - y) * Math.cos(rough) - (c.x - x) * Math.sin(rough));
  const spread = sumOf(along.map((a) => a * a));
  const turn = mean(centres.map((c) => c.turn));
  const ratePerPx = sumOf(along.map((a, i) => a * (centres[i]!.turn - turn))) / spread;
  const bent = across.map((v, i) => v - (ratePerPx * along[i]! * along[i]!) / 2);
  const level = mean(bent);
  const slope = sumOf(along.map((a, i) => a * (bent[i]! - level))) / spread;
  const rest = bent.map((v, i) => v - level - slope * along[i]!);
  const tilt = Math.sqrt(sumOf(rest.map((r) => r * r)) / (frames.length - 2));
  const reach = Math.max(...along) - Math.min(...along);
  const { widthPx, heightPx } = frames[0]!;
  if (!(reach > LEAST_WAY * Math.hypot(widthPx, heightPx)) || tilt > reach / 20) return undefined;
  const sigmaRad = Math.hypot((TILT_MEMORY * tilt) / Math.sqrt(spread), DRIFT_OF_HEADING_RAD);
  return { x, y, angleRad: rough + slope, sigmaRad, ratePerPx };
}

/** Direction of the longer axis of the cloud of centres. */
function principalAngle(centres: readonly { readonly x: number; readonly y: number }[], x: number, y: number): number {
  let xx = 0;
  let xy = 0;
  let yy = 0;
  for (const c of centres) {
    xx += (c.x - x) ** 2;
    xy += (c.x - x) * (c.y - y);
    yy += (c.y - y) ** 2;
  }
  return Math.atan2(2 * xy, xx - yy) / 2;
}

function sumOf(values: readonly number[]): number {
  return values.reduce((sum, v) => sum + v, 0);
}

function mean(values: readonly number[]): number {
  return sumOf(values) / values.length;
}
