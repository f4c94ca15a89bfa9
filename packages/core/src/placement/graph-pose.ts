import type { Affine } from '../compute/affine.js';
import { DOF } from './graph-matrix.js';

/**
 * A pose as five numbers: where the strip's centre lies (x, y), turn in radians, log scale, log squeeze:
 * p -> S(squeeze)·scale·R(turn)·(p − centre) + (x, y), S being the stretch along the common space's y.
 */
export function poseOf(state: Float64Array, strip: number, centre: Point): Affine {
  const k = strip * DOF;
  const grow = Math.exp(state[k + 3]!);
  const tall = Math.exp(state[k + 3]! + state[k + 4]!);
  const cosine = Math.cos(state[k + 2]!);
  const sine = Math.sin(state[k + 2]!);
  const m = { xx: grow * cosine, xy: -grow * sine, yx: tall * sine, yy: tall * cosine };
  return {
    ...m,
    tx: state[k]! - m.xx * centre.x - m.xy * centre.y,
    ty: state[k + 1]! - m.yx * centre.x - m.yy * centre.y,
  };
}

/** Writes the five numbers of the nearest pose of the family. */
export function setPose(state: Float64Array, strip: number, centre: Point, pose: Affine): void {
  const k = strip * DOF;
  const grow = Math.log(Math.hypot(pose.xx, pose.xy));
  state[k] = pose.xx * centre.x + pose.xy * centre.y + pose.tx;
  state[k + 1] = pose.yx * centre.x + pose.yy * centre.y + pose.ty;
  state[k + 2] = Math.atan2(pose.yx - pose.xy, pose.xx + pose.yy);
  state[k + 3] = grow;
  state[k + 4] = Math.log(Math.hypot(pose.yx, pose.yy)) - grow;
}

export interface Point {
  readonly x: number;
  readonly y: number;
}

/** What is needed of an edge to compare it with two poses. */
export interface Comparable {
  readonly pose: Affine;
  /** Inverse of the linear part of `pose`. */
  readonly inverse: Affine;
  /** Centre of the overlap, moving px and fixed px. */
  readonly at: Point;
  readonly seenAt: Point;
}

/** Residual (predicted less measured, fixed px and radians) and its derivatives by either strip's five numbers. */
export interface Comparison {
  readonly residual: Float64Array;
  readonly byFixed: Float64Array;
  readonly byMoving: Float64Array;
}

export function createComparison(): Comparison {
  return {
    residual: new Float64Array(DOF),
    byFixed: new Float64Array(DOF * DOF),
    byMoving: new Float64Array(DOF * DOF),
  };
}

/** Compares an edge with the poses of its strips; exact at first order for any turn between the strips. */
export function compare(
  edge: Comparable,
  fixed: Affine,
  fixedCentre: Point,
  moving: Affine,
  movingCentre: Point,
  out: Comparison,
): void {
  const det = fixed.xx * fixed.yy - fixed.xy * fixed.yx;
  const ixx = fixed.yy / det;
  const ixy = -fixed.xy / det;
  const iyx = -fixed.yx / det;
  const iyy = fixed.xx / det;
  const commonX = moving.xx * edge.at.x + moving.xy * edge.at.y + moving.tx;
  const commonY = moving.yx * edge.at.x + moving.yy * edge.at.y + moving.ty;
  const px = commonX - fixed.tx;
  const py = commonY - fixed.ty;
  const fx = ixx * px + ixy * py;
  const fy = iyx * px + iyy * py;
  const b = edge.inverse;
  // E + 1: the predicted linear part against the measured one; u and v: the lever arms in the strips.
  const mxx = moving.xx * b.xx + moving.xy * b.yx;
  const mxy = moving.xx * b.xy + moving.xy * b.yy;
  const myx = moving.yx * b.xx + moving.yy * b.yx;
  const myy = moving.yx * b.xy + moving.yy * b.yy;
  const exx = ixx * mxx + ixy * myx;
  const exy = ixx * mxy + ixy * myy;
  const eyx = iyx * mxx + iyy * myx;
  const eyy = iyx * mxy + iyy * myy;
  const r = out.residual;
  r[0] = fx - edge.seenAt.x;
  r[1] = fy - edge.seenAt.y;
  r[2] = Math.atan2(eyx - exy, exx + eyy);
  r[3] = exx - 1;
  r[4] = eyy - exx;
  const ux = edge.at.x - movingCentre.x;
  const uy = edge.at.y - movingCentre.y;
  const m = out.byMoving;
  const turnX = -moving.xx * uy + moving.xy * ux;
  const turnY = -moving.yx * uy + moving.yy * ux;
  const growX = moving.xx * ux + moving.xy * uy;
  const growY = moving.yx * ux + moving.yy * uy;
  shiftRows(m, ixx, ixy, iyx, iyy, 1);
  setColumn(m, 2, ixx * turnX + ixy * turnY, iyx * turnX + iyy * turnY);
  setColumn(m, 3, ixx * growX + ixy * growY, iyx * growX + iyy * growY);
  setColumn(m, 4, ixy * growY, iyy * growY);
  // Turn: F⁻¹·M·J·B with J the quarter turn.
  const jxx = moving.xy * b.xx - moving.xx * b.yx;
  const jxy = moving.xy * b.xy - moving.xx * b.yy;
  const jyx = moving.yy * b.xx - moving.yx * b.yx;
  const jyy = moving.yy * b.xy - moving.yx * b.yy;
  linearRows(m, 2, ixx * jxx + ixy * jyx, ixx * jxy + ixy * jyy, iyx * jxx + iyy * jyx, iyx * jxy + iyy * jyy);
  linearRows(m, 3, exx, exy, eyx, eyy);
  linearRows(m, 4, ixy * myx, ixy * myy, iyy * myx, iyy * myy);
  const f = out.byFixed;
  const vx = fx - fixedCentre.x;
  const vy = fy - fixedCentre.y;
  const tall = fixed.yx * vx + fixed.yy * vy;
  shiftRows(f, ixx, ixy, iyx, iyy, -1);
  setColumn(f, 2, vy, -vx);
  setColumn(f, 3, -vx, -vy);
  setColumn(f, 4, -ixy * tall, -iyy * tall);
  linearRows(f, 2, eyx, eyy, -exx, -exy);
  linearRows(f, 3, -exx, -exy, -eyx, -eyy);
  linearRows(f, 4, -ixy * myx, -ixy * myy, -iyy * myx, -iyy * myy);
}

function shiftRows(j: Float64Array, xx: number, xy: number, yx: number, yy: number, sign: number): void {
  j.fill(0);
  j[0] = sign * xx;
  j[1] = sign * xy;
  j[DOF] = sign * yx;
  j[DOF + 1] = sign * yy;
}

function setColumn(j: Float64Array, column: number, x: number, y: number): void {
  j[column] = x;
  j[DOF + column] = y;
}

/** Turn, log scale and log squeeze of a small linear change. */
function linearRows(j: Float64Array, column: number, xx: number, xy: number, yx: number, yy: number): void {
  j[2 * DOF + column] = (yx - xy) / 2;
  j[3 * DOF + column] = xx;
  j[4 * DOF + column] = yy - xx;
}
