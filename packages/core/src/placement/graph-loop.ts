import { type Affine, applyX, applyY, compose, IDENTITY } from '../compute/affine.js';
import { DOF, eigenSymmetric } from './graph-matrix.js';
import type { Link, Problem } from './graph-problem.js';

/** How far a loop of links is from closing. */
export interface LoopTest {
  /** eᵀ·(ΣC)⁻¹·e over the dimensions that the loop measures, and their number. */
  readonly distance2: number;
  readonly dimensions: number;
  /** `distance2` over its limit: at most 1 when the loop closes. 0 when it measures nothing. */
  readonly ratio: number;
  /** Misclosure at the middle of the loop, px. */
  readonly misclosurePx: number;
  /** How telling a closed loop is: logarithm of the chance that it closes by accident, with a minus, 0 to 6. */
  readonly evidence: number;
}

/** Most that one closed loop counts. */
export const MOST_EVIDENCE = 6;

/**
 * Sets of links hold together as long as no loop among them exceeds its limit by more than this. Of the many pairs of
 * true links some exceed the limit itself, and one such pair would part a set; this leaves about 1 in 10⁵. The votes of
 * single loops and the last tests keep to the limit.
 */
export const AGREE = 1.6;

/**
 * Walks round a loop from strip `start` along links and tests it. Errors are carried to the first strip's px at first
 * order: a turn there shifts what lies at its lever arm.
 */
export function testLoop(problem: Problem, start: number, links: readonly Link[]): LoopTest {
  let key = `${start}`;
  for (const l of links) key += ` ${l.id}`;
  let test = problem.tests.get(key);
  if (!test) {
    test = measureLoop(problem, start, links);
    problem.tests.set(key, test);
  }
  return test;
}

/** The same for links that are not of the problem. */
export function measureLoop(problem: Problem, start: number, links: readonly Link[]): LoopTest {
  let walk: Affine = IDENTITY;
  let node = start;
  const seats: { link: Link; from: Affine; x: number; y: number }[] = [];
  for (const link of links) {
    const forward = link.fixed === node;
    const before = walk;
    walk = compose(before, forward ? link.loopPose : link.loopBack);
    const from = forward ? before : walk;
    seats.push({
      link,
      from,
      x: applyX(from, link.seenAt.x, link.seenAt.y),
      y: applyY(from, link.seenAt.x, link.seenAt.y),
    });
    node = forward ? link.moving : link.fixed;
  }
  let x = 0;
  let y = 0;
  for (const s of seats) {
    x += s.x / seats.length;
    y += s.y / seats.length;
  }
  const covariance = new Float64Array(DOF * DOF);
  for (const s of seats) addCarried(covariance, s.link.loopCovariance, s.from, x - s.x, y - s.y);
  const error = [
    applyX(walk, x, y) - x,
    applyY(walk, x, y) - y,
    Math.atan2(walk.yx - walk.xy, walk.xx + walk.yy),
    Math.hypot(walk.xx, walk.yx) - 1,
    Math.hypot(walk.xy, walk.yy) - Math.hypot(walk.xx, walk.yx),
  ];
  return judge(problem, covariance, error);
}

/** Directions whose variance is more than this share of the prior's are not measured by the loop. */
const MEASURED_SHARE = 0.5;

function judge(problem: Problem, covariance: Float64Array, error: readonly number[]): LoopTest {
  const unit = problem.priorSigma;
  const scaled = covariance.map((v, k) => v / (unit[Math.floor(k / DOF)]! * unit[k % DOF]!));
  const { values, vectors } = eigenSymmetric(scaled, DOF);
  let distance2 = 0;
  let dimensions = 0;
  for (let d = 0; d < DOF; d++) {
    if (!(values[d]! < MEASURED_SHARE && values[d]! > 0)) continue;
    let along = 0;
    for (let k = 0; k < DOF; k++) along += (vectors[d * DOF + k]! * error[k]!) / unit[k]!;
    distance2 += (along * along) / values[d]!;
    dimensions++;
  }
  const area = Math.sqrt(Math.max(0, covariance[0]! * covariance[DOF + 1]! - covariance[1]! ** 2));
  const telling = Math.log(problem.leastGround / (Math.PI * problem.limits[2]! * area));
  return {
    distance2,
    dimensions,
    ratio: dimensions === 0 ? 0 : distance2 / problem.limits[dimensions]!,
    misclosurePx: Math.hypot(error[0]!, error[1]!),
    evidence: dimensions === 0 ? 0 : Math.min(MOST_EVIDENCE, Math.max(0, telling || 0)),
  };
}

/** Adds the covariance of a link's error as seen in the first strip, at (dx, dy) from the link's seat there. */
function addCarried(sum: Float64Array, own: Float64Array, from: Affine, dx: number, dy: number): void {
  const grow = Math.hypot(from.xx, from.yx);
  const c = from.xx / grow;
  const s = from.yx / grow;
  const a = CARRY;
  a.fill(0);
  a[0] = from.xx;
  a[1] = from.xy;
  a[2] = -dy;
  a[3] = dx;
  a[4] = s * s * dx - s * c * dy;
  a[5] = from.yx;
  a[6] = from.yy;
  a[7] = dx;
  a[8] = dy;
  a[9] = c * c * dy - s * c * dx;
  a[12] = 1;
  a[18] = 1;
  a[19] = s * s;
  a[24] = c * c - s * s;
  for (let i = 0; i < DOF; i++)
    for (let k = 0; k < DOF; k++) {
      let value = 0;
      for (let m = 0; m < DOF; m++) value += a[i * DOF + m]! * own[m * DOF + k]!;
      LEFT[i * DOF + k] = value;
    }
  for (let i = 0; i < DOF; i++)
    for (let j = 0; j < DOF; j++) {
      let value = 0;
      for (let k = 0; k < DOF; k++) value += LEFT[i * DOF + k]! * a[j * DOF + k]!;
      sum[i * DOF + j]! += value;
    }
}

/** Scratch, filled anew at every call. */
const CARRY = new Float64Array(DOF * DOF);
const LEFT = new Float64Array(DOF * DOF);
