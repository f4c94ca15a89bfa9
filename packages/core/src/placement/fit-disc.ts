import { quantile } from '../compute/quantile.js';
import { invertSymmetric, solveInPlace } from '../compute/small-solve.js';

/** A disc: the points with ((x − centreX)² + ((y − centreY) / stretch)²) = radiusPx². */
export interface Disc {
  readonly centreX: number;
  readonly centreY: number;
  readonly radiusPx: number;
  /** Vertical over horizontal diameter. */
  readonly stretch: number;
}

/** A point on the edge of a disc, px. */
export interface EdgePoint {
  readonly x: number;
  readonly y: number;
  /** Variance of its position across the edge, px². */
  readonly variance: number;
  /** Error that one unknown cause gives to all points at once, outwards, px at one sigma of the cause. Default 0. */
  readonly commonPx?: number;
}

/** A disc fitted to points. */
export interface DiscFit {
  readonly disc: Disc;
  /** Of (centreX, centreY, radiusPx), or with the stretch as the fourth: row-major, px² (the stretch per its unit). */
  readonly covariance: Float64Array;
  /** Distance of every point outwards of the fitted edge, px. */
  readonly residuals: Float64Array;
  /** 0 to 1 for every point: how far it counted. */
  readonly weights: Float64Array;
  /** Weighted rms of the residuals, px. */
  readonly rmsPx: number;
}

/** How the disc is fitted. */
export interface DiscFitOptions {
  /** Let the stretch vary; otherwise it is kept. Default false. */
  readonly stretch?: boolean;
  /**
   * The points are ordered along the edge and neighbours may err alike: the covariance is multiplied by
   * F = 1 + 2·Σρ over the lags up to the first at which the autocorrelation ρ of the n residuals is insignificant, and
   * by 1 / (1 − unknowns·(F − 1) / n), since the fit takes slow errors out of the residuals.
   * Errors that look like a shift or a growth of the whole arc do not show in the residuals. Default false.
   */
  readonly ordered?: boolean;
}

/**
 * Geometric least squares on the distances from the edge (Gauss–Newton), with Tukey's biweight at 4.685 robust standard
 * deviations, so that mountains and false edges do not count. `start` must lie near the disc. Undefined when the points
 * do not determine one.
 */
export function fitDisc(points: readonly EdgePoint[], start: Disc, options: DiscFitOptions = {}): DiscFit | undefined {
  const unknowns = options.stretch ? 4 : 3;
  if (points.length < unknowns + 3) return undefined;
  let disc = start;
  let system = setUp(points, disc, unknowns);
  for (let round = 0; round < ROUNDS; round++) {
    const change = Float64Array.from(system.right);
    if (!solveInPlace(Float64Array.from(system.normal), change, unknowns)) return undefined;
    const { scale } = system;
    disc = {
      centreX: disc.centreX + change[0]! * scale[0]!,
      centreY: disc.centreY + change[1]! * scale[1]!,
      radiusPx: disc.radiusPx + change[2]! * scale[2]!,
      stretch: disc.stretch + (unknowns === 4 ? change[3]! * scale[3]! : 0),
    };
    if (!(disc.radiusPx > 1 && disc.stretch > 0.5 && disc.stretch < 2)) return undefined;
    system = setUp(points, disc, unknowns);
    if (Math.hypot(change[0]!, change[1]!, change[2]!) < 1e-5) break;
  }
  return describe(points, disc, system, unknowns, options.ordered === true);
}

/** Distance of a point outwards of the disc's edge, px; exact for circles, to first order for stretched discs. */
export function outside(disc: Disc, x: number, y: number): number {
  return Math.hypot(x - disc.centreX, (y - disc.centreY) / disc.stretch) - disc.radiusPx;
}

const ROUNDS = 30;
const TUKEY = 4.685;
/** From a median deviation to a standard one; few points need more (Rousseeuw & Leroy 1987). */
const TO_SIGMA = 1.4826;
/** No set of measured points is believed to be better than this, px. */
const LEAST_SIGMA_PX = 1e-4;

interface System {
  readonly normal: Float64Array;
  readonly right: Float64Array;
  readonly residuals: Float64Array;
  /** Tukey's weights. */
  readonly trust: Float64Array;
  /** Inverse variances, from which the covariance follows. */
  readonly precision: Float64Array;
  /** Unit of each unknown, for a well-conditioned system. */
  readonly scale: readonly number[];
}

function setUp(points: readonly EdgePoint[], disc: Disc, unknowns: number): System {
  const residuals = Float64Array.from(points, (p) => outside(disc, p.x, p.y));
  const { trust, total } = tukey(
    residuals,
    Float64Array.from(points, (p) => p.variance),
    unknowns,
  );
  const precision = total.map((v) => 1 / v);
  const normal = new Float64Array(unknowns * unknowns);
  const right = new Float64Array(unknowns);
  const scale = [1, 1, 1, 1 / disc.radiusPx];
  const row = new Float64Array(4);
  points.forEach((p, k) => {
    writeRow(row, p, disc);
    const w = trust[k]! * precision[k]!;
    for (let i = 0; i < unknowns; i++) {
      right[i]! += w * row[i]! * residuals[k]!;
      for (let j = 0; j < unknowns; j++) normal[i * unknowns + j]! += w * row[i]! * row[j]!;
    }
  });
  return { normal, right, residuals, trust, precision, scale };
}

/**
 * Tukey's weights of residuals with their own variances, and those variances with what the residuals scatter beyond
 * them (mountains, air), which is common to all.
 */
export function tukey(
  residuals: Float64Array,
  own: Float64Array,
  unknowns: number,
): { readonly trust: Float64Array; readonly total: Float64Array } {
  const small = 1 + 5 / Math.max(1, residuals.length - unknowns);
  const sigma = Math.max(LEAST_SIGMA_PX, TO_SIGMA * small * quantile(residuals.map(Math.abs), 0.5));
  const common = Math.max(0, sigma * sigma - quantile(own, 0.5), LEAST_SIGMA_PX ** 2);
  const total = own.map((v) => v + common);
  const trust = residuals.map((r, k) => {
    const u = r / (TUKEY * Math.sqrt(Math.max(total[k]!, sigma * sigma)));
    return Math.abs(u) < 1 ? (1 - u * u) ** 2 : 0;
  });
  return { trust, total };
}

/** How the distance of a point depends on the unknowns, each in its own unit. */
function writeRow(row: Float64Array, p: EdgePoint, disc: Disc): void {
  const dx = p.x - disc.centreX;
  const dy = (p.y - disc.centreY) / disc.stretch;
  const rho = Math.hypot(dx, dy);
  row[0] = dx / rho;
  row[1] = dy / rho / disc.stretch;
  row[2] = 1;
  row[3] = (dy * dy) / (rho * disc.stretch * disc.radiusPx);
}

/** What the points' common error does to the unknowns. */
function commonShift(
  points: readonly EdgePoint[],
  disc: Disc,
  trust: Float64Array,
  precision: Float64Array,
  inverse: Float64Array,
  unknowns: number,
): Float64Array {
  const pull = new Float64Array(unknowns);
  const row = new Float64Array(4);
  points.forEach((p, k) => {
    writeRow(row, p, disc);
    for (let i = 0; i < unknowns; i++) pull[i]! += trust[k]! * precision[k]! * row[i]! * (p.commonPx ?? 0);
  });
  return pull.map((_, i) => pull.reduce((sum, v, j) => sum + inverse[i * unknowns + j]! * v, 0));
}

function describe(
  points: readonly EdgePoint[],
  disc: Disc,
  { normal, residuals, trust, precision, scale }: System,
  unknowns: number,
  ordered: boolean,
): DiscFit | undefined {
  const inverse = invertSymmetric(normal, unknowns);
  if (!inverse) return undefined;
  const honest = honestFactor(residuals, trust, precision, unknowns, ordered);
  if (!honest) return undefined;
  const { factor, rmsPx } = honest;
  const shift = commonShift(points, disc, trust, precision, inverse, unknowns);
  const covariance = inverse.map((v, i) => {
    const [row, column] = [Math.floor(i / unknowns), i % unknowns];
    return (v * factor + shift[row]! * shift[column]!) * scale[row]! * scale[column]!;
  });
  return { disc, covariance, residuals, weights: trust, rmsPx };
}

/**
 * By how much the inverse of the weighted normal equations falls short of the covariance, and the weighted rms of the
 * residuals. Undefined when too little is believed.
 */
export function honestFactor(
  residuals: Float64Array,
  trust: Float64Array,
  precision: Float64Array,
  unknowns: number,
  ordered: boolean,
): { readonly factor: number; readonly rmsPx: number } | undefined {
  const n = residuals.length;
  let chi = 0;
  let squares = 0;
  let slope = 0;
  let sum = 0;
  for (let k = 0; k < n; k++) {
    // Asymptotic variance of an M-estimate (Huber 1981, 7.6): Σψ² over (Σψ')², both relative to unit weights.
    const w = trust[k]!;
    const r = residuals[k]!;
    const root = Math.sqrt(w);
    chi += w * w * r * r * precision[k]!;
    slope += root * (5 * root - 4);
    squares += w * r * r;
    sum += w;
  }
  if (sum <= unknowns || slope <= 0) return undefined;
  // Two fewer than the degrees of freedom: then the squared error over its variance is 1 in the mean (Hotelling 1931).
  const excess = (chi / (n - unknowns - 2)) * (n / slope) ** 2;
  // The inverse holds Σw in place of Σ1.
  const factor = excess * (sum / n) * (ordered ? correlationFactor(residuals, trust, unknowns) : 1);
  return { factor, rmsPx: Math.sqrt(squares / sum) };
}

/** 1 + 2·Σρ, raised by what the fit itself has taken out of the residuals. */
function correlationFactor(residuals: Float64Array, trust: Float64Array, unknowns: number): number {
  const n = residuals.length;
  const value = residuals.map((r, k) => r * Math.sqrt(trust[k]!));
  let power = 0;
  for (const v of value) power += v * v;
  let factor = 1;
  for (let lag = 1; lag < n / 4; lag++) {
    let sum = 0;
    for (let k = lag; k < n; k++) sum += value[k]! * value[k - lag]!;
    const correlation = sum / power;
    if (!(correlation > 1 / Math.sqrt(n))) break;
    factor += 2 * correlation;
  }
  return factor / Math.max(0.3, 1 - (unknowns * (factor - 1)) / n);
}
