import { quantile } from '../compute/quantile.js';
import { invertSymmetric, solveInPlace } from '../compute/small-solve.js';
import type { BodyPoint } from '../sky/types.js';
import type { MapShift } from './map-patches.js';
import { groundOf, type PosedDisc, placeOf } from './posed-disc.js';

/** What is known beforehand, at one sigma; infinite where nothing is. */
export interface PosePrior {
  /** Inverse covariance of (centreX, centreY, radius), row-major, 1/px², about the values of `at`. */
  readonly discWeight: readonly number[];
  readonly axisSigmaDeg: number;
  readonly librationSigmaDeg: number;
  /** The pose that the priors are about. */
  readonly at: PosedDisc;
}

/** A pose fitted to shifts. */
export interface PoseFit {
  readonly pose: PosedDisc;
  /** One sigma of axisDeg, longitudeDeg, latitudeDeg, centreX, centreY, radiusPx. */
  readonly sigma: readonly number[];
  /** Of (centreX, centreY, radiusPx), row-major, px². */
  readonly covariance: readonly number[];
  /** Of the shifts that counted, px per axis. */
  readonly rmsPx: number;
  /** Shifts that counted. */
  readonly used: number;
}

const UNKNOWNS = 6;
const ROUNDS = 8;
/** Tukey's biweight, robust standard deviations. */
const TUKEY = 4.685;
const LEAST_SIGMA_PX = 0.05;

/**
 * Fits axis, libration, centre and radius so that the ground under every patch falls where the view shows it: Gauss and
 * Newton with Tukey's biweight, the priors being further observations. Null where the patches do not determine it.
 */
export function fitPose(start: PosedDisc, shifts: readonly MapShift[], prior: PosePrior): PoseFit | null {
  const targets = shifts.flatMap((shift) => {
    const point = groundOf(start, shift.x, shift.y);
    return point ? [{ point, x: shift.x + shift.dx, y: shift.y + shift.dy }] : [];
  });
  if (targets.length < UNKNOWNS) return null;
  let pose = start;
  let sigmaPx = Number.NaN;
  let normal = new Float64Array(UNKNOWNS * UNKNOWNS);
  let weights = targets.map(() => 1);
  for (let round = 0; round < ROUNDS; round++) {
    const rests = targets.map((t) => {
      const p = placeOf(pose, t.point);
      return [t.x - p.x, t.y - p.y] as const;
    });
    const lengths = rests.map(([x, y]) => Math.hypot(x, y));
    // Of a length in the plane the median is 1.18 sigma per axis.
    sigmaPx = Math.max(LEAST_SIGMA_PX, quantile(lengths, 0.5) / 1.1774);
    weights = lengths.map((l) => Math.max(0, 1 - (l / (TUKEY * sigmaPx)) ** 2) ** 2);
    normal = new Float64Array(UNKNOWNS * UNKNOWNS);
    const right = new Float64Array(UNKNOWNS);
    targets.forEach((t, k) => {
      const slopes = slopesAt(pose, t.point);
      for (const axis of [0, 1] as const) {
        addRow(normal, right, slopes[axis], rests[k]![axis], weights[k]! / sigmaPx ** 2);
      }
    });
    addPrior(normal, right, pose, prior);
    if (!solveInPlace(Float64Array.from(normal), right, UNKNOWNS)) return null;
    pose = moved(pose, right);
  }
  const covariance = invertSymmetric(normal, UNKNOWNS);
  if (!covariance) return null;
  const used = weights.reduce((sum, w) => sum + (w > 0.1 ? 1 : 0), 0);
  const sigma = Array.from({ length: UNKNOWNS }, (_, i) => Math.sqrt(covariance[i * (UNKNOWNS + 1)]!));
  const block = Array.from({ length: 9 }, (_, k) => covariance[(3 + Math.floor(k / 3)) * UNKNOWNS + 3 + (k % 3)]!);
  return { pose, sigma, covariance: block, rmsPx: sigmaPx, used };
}

/** The pose with (axisDeg, longitudeDeg, latitudeDeg, centreX, centreY, radiusPx) changed. */
function moved(pose: PosedDisc, by: ArrayLike<number>): PosedDisc {
  return {
    ...pose,
    axisDeg: pose.axisDeg + by[0]!,
    subObserver: {
      longitudeDeg: pose.subObserver.longitudeDeg + by[1]!,
      latitudeDeg: pose.subObserver.latitudeDeg + by[2]!,
    },
    centreX: pose.centreX + by[3]!,
    centreY: pose.centreY + by[4]!,
    radiusPx: pose.radiusPx + by[5]!,
  };
}

/** Change of a point's place with each unknown: (x, y). */
function slopesAt(pose: PosedDisc, point: BodyPoint): readonly [Float64Array, Float64Array] {
  const slopes = [new Float64Array(UNKNOWNS), new Float64Array(UNKNOWNS)] as const;
  const step = 1e-3;
  for (let k = 0; k < UNKNOWNS; k++) {
    const by = new Float64Array(UNKNOWNS);
    by[k] = step;
    const after = placeOf(moved(pose, by), point);
    by[k] = -step;
    const before = placeOf(moved(pose, by), point);
    slopes[0][k] = (after.x - before.x) / (2 * step);
    slopes[1][k] = (after.y - before.y) / (2 * step);
  }
  return slopes;
}

function addRow(normal: Float64Array, right: Float64Array, slopes: Float64Array, rest: number, weight: number): void {
  for (let i = 0; i < UNKNOWNS; i++) {
    right[i]! += weight * slopes[i]! * rest;
    for (let j = 0; j < UNKNOWNS; j++) normal[i * UNKNOWNS + j]! += weight * slopes[i]! * slopes[j]!;
  }
}

function addPrior(normal: Float64Array, right: Float64Array, pose: PosedDisc, prior: PosePrior): void {
  const { at } = prior;
  const off = [
    at.axisDeg - pose.axisDeg,
    at.subObserver.longitudeDeg - pose.subObserver.longitudeDeg,
    at.subObserver.latitudeDeg - pose.subObserver.latitudeDeg,
    at.centreX - pose.centreX,
    at.centreY - pose.centreY,
    at.radiusPx - pose.radiusPx,
  ];
  const single = [prior.axisSigmaDeg, prior.librationSigmaDeg, prior.librationSigmaDeg];
  single.forEach((sigma, i) => {
    normal[i * (UNKNOWNS + 1)]! += 1 / sigma ** 2;
    right[i]! += off[i]! / sigma ** 2;
  });
  for (let i = 0; i < 3; i++) {
    for (let j = 0; j < 3; j++) {
      const weight = prior.discWeight[3 * i + j]!;
      normal[(3 + i) * UNKNOWNS + 3 + j]! += weight;
      right[3 + i]! += weight * off[3 + j]!;
    }
  }
}
