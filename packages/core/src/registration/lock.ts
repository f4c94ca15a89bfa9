import { type Affine, compose, onFinerGrid, poseAbout, translation } from '../compute/affine.js';
import { correlationFromSums } from '../compute/correlation.js';
import { binPlane } from '../compute/downsample.js';
import { createPlane, type Plane } from '../compute/image.js';
import { phaseCorrelation } from '../compute/kernels-correlate.js';
import { nextFftLength } from '../compute/kernels-fft-plan.js';
import { warpPlane } from '../compute/warp.js';
import { bandPass } from './band-pass.js';

/** One picture with the part of it that holds data (1) and the part that does not (0). */
export interface Masked {
  readonly light: Plane;
  readonly coverage?: Plane;
}

/** Settings of the coarse lock. */
export interface LockSettings {
  /** The pictures are binned until their longer side is at most this. */
  readonly coarseSidePx: number;
  /** Turns of the moving picture to try, degrees. */
  readonly rotationsDeg: readonly number[];
  /** Peaks of each correlation surface that are verified. */
  readonly peaks: number;
  /** Least overlap, as a share of the smaller picture's covered area. */
  readonly minOverlap: number;
}

export const LOCK_DEFAULTS: LockSettings = { coarseSidePx: 256, rotationsDeg: [0], peaks: 12, minOverlap: 0.02 };

/** A possible pose of the moving picture on the fixed one, best first when in a list. */
export interface LockCandidate {
  /** Moving px -> fixed px, full resolution. */
  readonly pose: Affine;
  /** Normalised cross-correlation of the detail over the true overlap, −1..1. */
  readonly correlation: number;
  /** Covered area shared by both at this pose, as a share of the smaller one. */
  readonly overlap: number;
  /** Fisher's z of the correlation times √(independent samples − 3): how far from chance. */
  readonly significance: number;
}

/**
 * Coarse lock: band-limited phase correlation (Kuglin & Hines 1975) of two pictures padded so that no shift wraps
 * around, whose peaks are then verified by the normalised correlation over the true overlap, so that black sky, limb
 * and vignetting do not decide. Good to about one coarse pixel; refine with {@link alignPair}.
 */
export function lockPair(fixed: Masked, moving: Masked, settings: LockSettings = LOCK_DEFAULTS): LockCandidate[] {
  const side = Math.max(fixed.light.width, fixed.light.height, moving.light.width, moving.light.height);
  const factor = Math.max(1, Math.ceil(side / settings.coarseSidePx));
  const a = coarse(fixed, factor);
  const found: LockCandidate[] = [];
  for (const rotationDeg of settings.rotationsDeg) {
    const binned = binMasked(moving, factor);
    const centre = { x: (binned.light.width - 1) / 2, y: (binned.light.height - 1) / 2 };
    const turn = poseAbout(centre, { shiftX: 0, shiftY: 0, rotationDeg });
    const b = rotationDeg === 0 ? prepare(binned) : prepare(turned(binned, turn));
    for (const peak of correlationPeaks(a, b, settings.peaks)) {
      const checked = verify(a, b, peak.dx, peak.dy);
      if (checked.overlap < settings.minOverlap) continue;
      const pose = onFinerGrid(compose(translation(peak.dx, peak.dy), turn), factor);
      found.push({ pose, ...checked });
    }
  }
  return found.sort((p, q) => q.significance - p.significance);
}

interface Coarse {
  readonly detail: Plane;
  readonly coverage: Plane;
  readonly coveredPx: number;
}

function coarse(picture: Masked, factor: number): Coarse {
  return prepare(binMasked(picture, factor));
}

function binMasked(picture: Masked, factor: number): Required<Masked> {
  const light = binPlane(picture.light, factor);
  if (!picture.coverage) return { light, coverage: ones(light.width, light.height) };
  const coverage = binPlane(picture.coverage, factor);
  for (let i = 0; i < coverage.data.length; i++) coverage.data[i] = coverage.data[i]! > 0.99 ? 1 : 0;
  return { light, coverage };
}

function turned(picture: Required<Masked>, turn: Affine): Required<Masked> {
  const { width, height } = picture.light;
  const light = warpPlane(picture.light, turn, width, height);
  const covered = warpPlane(picture.coverage, turn, width, height);
  for (let i = 0; i < light.coverage.data.length; i++) {
    light.coverage.data[i] = covered.plane.data[i]! > 0.99 ? light.coverage.data[i]! : 0;
  }
  return { light: light.plane, coverage: light.coverage };
}

function prepare(picture: Required<Masked>): Coarse {
  const detail = bandPass(picture.light, { fineSigmaPx: 0.7, coarseSigmaPx: 5 }, picture.coverage);
  return { detail, coverage: picture.coverage, coveredPx: total(picture.coverage) };
}

function correlationPeaks(a: Coarse, b: Coarse, count: number): { dx: number; dy: number }[] {
  // Padded so that no shift wraps around; long enough that every shift that can overlap has a place of its own.
  const width = nextFftLength(a.detail.width + b.detail.width);
  const height = nextFftLength(a.detail.height + b.detail.height);
  return highest(phaseCorrelation(a.detail, b.detail, { width, height }), count, a, b);
}

/** The highest local maxima, one per 5 × 5 neighbourhood, as signed shifts of b on a at which the frames can overlap. */
function highest({ data: surface, width, height }: Plane, count: number, a: Coarse, b: Coarse) {
  const maxima: { dx: number; dy: number; value: number }[] = [];
  for (let dy = -b.detail.height + 4; dy < a.detail.height - 4; dy++) {
    for (let dx = -b.detail.width + 4; dx < a.detail.width - 4; dx++) {
      const value = surface[wrap(dy, height) * width + wrap(dx, width)]!;
      if (maxima.length === count && value <= maxima[count - 1]!.value) continue;
      if (!isLocalMaximum(surface, width, height, dx, dy, value)) continue;
      maxima.push({ dx, dy, value });
      maxima.sort((p, q) => q.value - p.value);
      if (maxima.length > count) maxima.pop();
    }
  }
  return maxima;
}

function isLocalMaximum(
  surface: Float32Array,
  width: number,
  height: number,
  dx: number,
  dy: number,
  value: number,
): boolean {
  for (let v = -2; v <= 2; v++) {
    for (let u = -2; u <= 2; u++) {
      if (surface[wrap(dy + v, height) * width + wrap(dx + u, width)]! > value) return false;
    }
  }
  return true;
}

function verify(a: Coarse, b: Coarse, dx: number, dy: number) {
  let n = 0;
  let sa = 0;
  let sb = 0;
  let saa = 0;
  let sbb = 0;
  let sab = 0;
  const x0 = Math.max(0, dx);
  const x1 = Math.min(a.detail.width, b.detail.width + dx);
  const y0 = Math.max(0, dy);
  const y1 = Math.min(a.detail.height, b.detail.height + dy);
  for (let y = y0; y < y1; y++) {
    for (let x = x0; x < x1; x++) {
      const i = y * a.detail.width + x;
      const j = (y - dy) * b.detail.width + x - dx;
      if (a.coverage.data[i]! < 0.5 || b.coverage.data[j]! < 0.5) continue;
      const p = a.detail.data[i]!;
      const q = b.detail.data[j]!;
      n++;
      sa += p;
      sb += q;
      saa += p * p;
      sbb += q * q;
      sab += p * q;
    }
  }
  const correlation = correlationFromSums(n, sa, sb, saa, sbb, sab);
  const smaller = Math.min(a.coveredPx, b.coveredPx);
  const samples = n / INDEPENDENT_AREA_PX;
  const fisher = Math.atanh(Math.max(-0.999, Math.min(0.999, correlation)));
  return {
    correlation,
    overlap: smaller > 0 ? n / smaller : 0,
    significance: samples > 4 ? fisher * Math.sqrt(samples - 3) : 0,
  };
}

/** Area over which the coarse detail of lunar ground is alike, coarse px². */
const INDEPENDENT_AREA_PX = 12;

function total(plane: Plane): number {
  let sum = 0;
  for (const v of plane.data) sum += v;
  return sum;
}

function ones(width: number, height: number): Plane {
  const plane = createPlane(width, height);
  plane.data.fill(1);
  return plane;
}

function wrap(i: number, n: number): number {
  return ((i % n) + n) % n;
}
