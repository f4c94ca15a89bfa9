import { IDENTITY } from '../compute/affine.js';
import type { LinearImage, Plane } from '../compute/image.js';
import { quantile } from '../compute/quantile.js';
import { defineTask, type Task } from '../compute/task.js';
import { BAND_PASS_DEFAULTS, bandPass } from './band-pass.js';
import { measurePatches, PATCH_DEFAULTS, type PatchShift } from './patches.js';

/** Where red and blue lie against green, by the air's dispersion, frame px. */
export interface ColourShift {
  /** What is added to where green shows some ground to have where this channel shows it; red, blue. */
  readonly red: readonly [number, number];
  readonly blue: readonly [number, number];
  /** Standard deviation of each coordinate. */
  readonly sigmaPx: number;
}

/** Input of {@link colourShiftTask}: a window of a frame, red, green and blue. */
export interface ColourShiftInput {
  readonly image: LinearImage;
  /** The part to be looked at, frame px. */
  readonly x0: number;
  readonly y0: number;
  readonly width: number;
  readonly height: number;
}

/** Measures the shifts between the channels of a frame in a worker; null where there is too little detail. */
export const colourShiftTask: Task<ColourShiftInput, ColourShift | null> = defineTask('registration/colour-shift');

/** Fewer patches do not tell. */
const LEAST_PATCHES = 6;

/**
 * Registers red and blue to green patch by patch, on the same detail as frames are registered on, and keeps what lies along
 * the line that both shifts share: the air spreads colours along the vertical only, red one way and blue the other.
 */
export function measureColourShift({ image, x0, y0, width, height }: ColourShiftInput): ColourShift | null {
  const [red, green, blue] = image.planes.map((plane) => {
    const light = cut(plane, image.width, x0, y0, width, height);
    return { detail: bandPass(light, BAND_PASS_DEFAULTS) };
  });
  if (!red || !green || !blue) return null;
  const [r, b] = [red, blue].map((moving) => meanShift(measurePatches(green, moving, IDENTITY, PATCH_DEFAULTS)));
  if (!r || !b) return null;
  // A patch of the moving channel fits green where it is moved to by the shift, so that it shows things by that earlier.
  return alongLine([-r.x, -r.y], [-b.x, -b.y], Math.max(r.sigma, b.sigma));
}

function cut(plane: Float32Array, stride: number, x0: number, y0: number, width: number, height: number): Plane {
  const data = new Float32Array(width * height);
  for (let y = 0; y < height; y++) {
    const from = (y + y0) * stride + x0;
    data.set(plane.subarray(from, from + width), y * width);
  }
  return { width, height, data };
}

/** Mean of the patches by their variance, without those that lie far from the middle one. */
function meanShift(shifts: readonly PatchShift[]): { x: number; y: number; sigma: number } | undefined {
  if (shifts.length < LEAST_PATCHES) return undefined;
  const middle = (of: (s: PatchShift) => number): number => quantile(shifts.map(of), 0.5);
  const [mx, my] = [middle((s) => s.dx), middle((s) => s.dy)];
  const away = shifts.map((s) => Math.hypot(s.dx - mx, s.dy - my));
  const most = OUTLYING * quantile(away, 0.5) + 1e-6;
  let [x, y, weight] = [0, 0, 0];
  const kept = shifts.filter((_, i) => away[i]! <= most);
  for (const s of kept) {
    const w = 1 / (s.cxx + s.cyy + 1e-8);
    x += w * s.dx;
    y += w * s.dy;
    weight += w;
  }
  const scatter = kept.reduce((sum, s) => sum + (s.dx - x / weight) ** 2 + (s.dy - y / weight) ** 2, 0);
  return { x: x / weight, y: y / weight, sigma: Math.sqrt(scatter / (2 * kept.length * (kept.length - 1))) };
}

/** Times the median distance from the middle that a patch may lie at. */
const OUTLYING = 3;

/** Both shifts on the line through the origin that they lie nearest to. */
function alongLine(red: readonly [number, number], blue: readonly [number, number], sigmaPx: number): ColourShift {
  const xx = red[0] ** 2 + blue[0] ** 2;
  const yy = red[1] ** 2 + blue[1] ** 2;
  const xy = red[0] * red[1] + blue[0] * blue[1];
  const angle = 0.5 * Math.atan2(2 * xy, xx - yy);
  const [ux, uy] = [Math.cos(angle), Math.sin(angle)];
  const onLine = ([x, y]: readonly [number, number]): [number, number] => {
    const along = x * ux + y * uy;
    return [along * ux, along * uy];
  };
  return { red: onLine(red), blue: onLine(blue), sigmaPx };
}
