import { type Affine, compose, poseAbout, translation } from '../compute/affine.js';
import { type CorrelationSurface, phaseCorrelation } from '../compute/kernels-correlate.js';
import { nextFftLength } from '../compute/kernels-fft-plan.js';
import { warpPlane } from '../compute/warp.js';
import { type PairDetail, pairDetail } from './pair-detail.js';
import { likenessAt, likenessAtShift } from './pair-likeness.js';
import type { PairLevel } from './pair-normal.js';

/** A possible pose on the level of the lock, best first when in a list. */
export interface PairCandidate {
  /** Moving px -> fixed px of the level. */
  readonly map: Affine;
  readonly correlation: number;
  readonly samples: number;
  /** Correlation over what chance gives, in standard deviations. */
  readonly z: number;
  /** Whether a search on finer detail vouches for it. Default: no. */
  readonly isCertain?: boolean;
}

/** Outcome of {@link lockLevels}. */
export interface PairLock {
  readonly candidates: readonly PairCandidate[];
  readonly fixed: PairDetail;
  readonly moving: PairDetail;
  /** Area that counts as one independent sample of the detail, px² of the level. */
  readonly sampleAreaPx: number;
  /** Number of independent poses that were looked at. */
  readonly trials: number;
}

/** Turns and scales of the moving picture that the lock tries. */
export interface PairHypothesis {
  readonly rotationDeg: number;
  readonly scale: number;
}

/**
 * Coarse lock on one level: band-limited phase correlation (Kuglin & Hines 1975) of even detail, padded so that no shift
 * wraps around; its peaks are verified on the true overlap. Right to about a pixel of the level.
 */
export function lockLevels(
  fixedLevel: PairLevel,
  movingLevel: PairLevel,
  hypotheses: readonly PairHypothesis[],
  isPossible: (map: Affine) => boolean = () => true,
): PairLock {
  const fixed = pairDetail(fixedLevel);
  const plain = pairDetail(movingLevel);
  const candidates: PairCandidate[] = [];
  let sampleAreaPx = 1;
  const least = LEAST_SHARE * Math.min(fixed.usablePx, plain.usablePx);
  for (const { rotationDeg, scale } of hypotheses) {
    const centre = { x: (plain.width - 1) / 2, y: (plain.height - 1) / 2 };
    const turn = poseAbout(centre, { shiftX: 0, shiftY: 0, rotationDeg, scale });
    const isPlain = rotationDeg === 0 && scale === 1;
    const moving = isPlain ? plain : pairDetail(turned(movingLevel, turn));
    const surface = correlate(fixed, moving);
    sampleAreaPx = surface.sampleAreaPx;
    const mapAt = (dx: number, dy: number): Affine => compose(translation(dx, dy), turn);
    for (const peak of highest(surface, fixed, moving, (dx, dy) => isPossible(mapAt(dx, dy)))) {
      const map = mapAt(peak.dx, peak.dy);
      const { correlation, samples } = likenessAtShift(fixed, moving, peak.dx, peak.dy);
      if (samples < least) continue;
      candidates.push({ map, correlation, samples, z: significance(correlation, samples, sampleAreaPx) });
    }
  }
  candidates.sort((p, q) => q.z - p.z);
  const positions = (fixed.width + plain.width) * (fixed.height + plain.height);
  return {
    candidates: withoutPattern(candidates),
    fixed,
    moving: plain,
    sampleAreaPx,
    trials: (hypotheses.length * positions) / sampleAreaPx,
  };
}

/**
 * What is fixed to the sensor matches itself at no shift at all: when another shift is beyond chance and half as good or
 * better, the match at zero is that, and dropped.
 */
function withoutPattern(candidates: PairCandidate[]): PairCandidate[] {
  const isZero = ({ map }: PairCandidate): boolean => Math.hypot(map.tx, map.ty) < 0.5 && map.xy === 0 && map.xx === 1;
  const zero = candidates.find(isZero);
  const other = candidates.find(({ map }) => Math.hypot(map.tx, map.ty) > 3);
  if (!zero || !other || other.z < Math.max(SURE_Z, 0.5 * zero.z)) return candidates;
  return candidates.filter((c) => !isZero(c));
}

const SURE_Z = 9;

/** A pose that was found elsewhere, moving px -> fixed px of the level, and whether its finder vouches for it. */
export interface FoundPose {
  readonly map: Affine;
  readonly isCertain: boolean;
}

/** The lock of poses that were found elsewhere, over any turn and scale; those that are vouched for come first. */
export function lockPoses(fixedLevel: PairLevel, movingLevel: PairLevel, found: readonly FoundPose[]): PairLock {
  const fixed = pairDetail(fixedLevel);
  const moving = pairDetail(movingLevel);
  const { sampleAreaPx } = correlate(fixed, moving);
  const candidates = found.map(({ map, isCertain }) => {
    const { correlation, samples } = likenessAt(fixed, moving, map);
    return { map, correlation, samples, z: significance(correlation, samples, sampleAreaPx), isCertain };
  });
  candidates.sort((p, q) => Number(q.isCertain) - Number(p.isCertain) || q.z - p.z);
  const positions = (fixed.width + moving.width) * (fixed.height + moving.height);
  return { candidates, fixed, moving, sampleAreaPx, trials: (TURNS_AND_SCALES * positions) / sampleAreaPx };
}

/** Independent turns times scales in the widest range. */
const TURNS_AND_SCALES = 5000;

/** Fisher's z of a correlation times √(independent samples − 3); 0 for too few samples. */
export function significance(correlation: number, samples: number, sampleAreaPx: number): number {
  const independent = samples / sampleAreaPx;
  return independent > 4
    ? Math.atanh(Math.max(-0.9999, Math.min(0.9999, correlation))) * Math.sqrt(independent - 3)
    : 0;
}

/** Least share of the smaller picture that must be seen by both. */
const LEAST_SHARE = 0.03;
const PEAKS = 8;

/** The level turned and scaled about its middle, on the same grid. */
function turned(level: PairLevel, turn: Affine): PairLevel {
  const { width, height, variance } = level;
  const light = warpPlane({ width, height, data: level.data }, turn, width, height);
  const out = new Float32Array(width * height);
  const open = new Float32Array(width * height).fill(1);
  if (variance) for (let i = 0; i < open.length; i++) if (variance[i]! === Infinity) open[i] = 0;
  const covered = warpPlane({ width, height, data: open }, turn, width, height);
  for (let i = 0; i < out.length; i++) {
    out[i] = light.coverage.data[i]! > 0.99 && covered.plane.data[i]! > 0.99 ? 1 : Infinity;
  }
  return { width, height, data: light.plane.data, variance: out };
}

function correlate(a: PairDetail, b: PairDetail): CorrelationSurface {
  const width = nextFftLength(a.width + b.width);
  const height = nextFftLength(a.height + b.height);
  const plane = ({ width, height, detail }: PairDetail) => ({ width, height, data: detail });
  return phaseCorrelation(plane(a), plane(b), { width, height });
}

/** The highest local maxima as signed shifts of b on a at which the frames can overlap. */
function highest(
  surface: CorrelationSurface,
  a: PairDetail,
  b: PairDetail,
  isPossible: (dx: number, dy: number) => boolean,
): { dx: number; dy: number; value: number }[] {
  const { data, width, height } = surface;
  const maxima: { dx: number; dy: number; value: number }[] = [];
  let bar = 0;
  for (let dy = 4 - b.height; dy <= a.height - 4; dy++) {
    const row = (dy < 0 ? dy + height : dy) * width;
    for (let dx = 4 - b.width; dx <= a.width - 4; dx++) {
      const value = data[row + (dx < 0 ? dx + width : dx)]!;
      if (value <= bar || !isLocalMaximum(surface, dx, dy, value) || !isPossible(dx, dy)) continue;
      maxima.push({ dx, dy, value });
      maxima.sort((p, q) => q.value - p.value);
      if (maxima.length > PEAKS) maxima.pop();
      if (maxima.length === PEAKS) bar = maxima[PEAKS - 1]!.value;
    }
  }
  return maxima;
}

function isLocalMaximum({ data, width, height }: CorrelationSurface, dx: number, dy: number, value: number): boolean {
  for (let v = dy - 2; v <= dy + 2; v++) {
    const row = (v < 0 ? v + height : v >= height ? v - height : v) * width;
    for (let u = dx - 2; u <= dx + 2; u++) {
      if (data[row + (u < 0 ? u + width : u >= width ? u - width : u)]! > value) return false;
    }
  }
  return true;
}
