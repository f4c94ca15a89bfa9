import { type Affine, applyX, applyY, compose, poseAbout } from '../compute/affine.js';
import { solveInPlace } from '../compute/small-solve.js';
import type { StripEdge, TiePoint } from './edge.js';
import { DOF } from './graph-matrix.js';
import type { GraphEdge } from './graph-types.js';

/** Settings of {@link graphEdgeFromTies}. */
export interface TieSettings {
  /** Ties of one overlap share the air's large warps: no more than this many count as independent. */
  readonly independentTies: number;
  /** Least spread of a tie that the air leaves however little noise it has, px per axis. */
  readonly leastWarpPx: number;
  /** Width of the robust loss, in σ: Cauchy's for an efficiency of 95 %. */
  readonly cauchy: number;
}

/** The documented defaults of {@link TieSettings}. */
export const TIE_DEFAULTS: TieSettings = { independentTies: 10, leastWarpPx: 0.02, cauchy: 2.385 };

/**
 * An edge of the placement graph from an overlap's ties: shift, turn, scale and squeeze that fit them (iterated weighted
 * least squares with Cauchy's loss, from the edge's own pose), and their information. Each tie weighs by its own
 * variance and the spread of all ties about the fit; many ties of one overlap count as `independentTies`. Fewer than
 * four ties do not measure scale and squeeze, fewer than two not the turn: what is not measured stays as in the edge's
 * pose (scale and squeeze 1) with no information. Null without ties.
 */
export function graphEdgeFromTies(
  fixed: number,
  moving: number,
  edge: StripEdge,
  probability: number,
  settings: TieSettings = TIE_DEFAULTS,
): GraphEdge | null {
  const { ties } = edge;
  if (ties.length === 0) return null;
  const at = middle(ties.map((t) => ({ x: t.movingX, y: t.movingY })));
  const half = (values: readonly number[]): number => (Math.max(...values) - Math.min(...values)) / 2;
  const halfWidthPx = half(ties.map((t) => t.movingX));
  const halfHeightPx = half(ties.map((t) => t.movingY));
  const free = ties.length >= LEAST_FOR_STRETCH ? DOF : ties.length >= LEAST_FOR_TURN ? 3 : 2;
  const reach = Math.max(1, Math.hypot(halfWidthPx, halfHeightPx));
  let pose = rigidAt(edge.pose, at);
  let fit = step(pose, at, ties, free, reach, settings);
  for (let k = 0; k < ITERATIONS && fit.change; k++) {
    pose = fit.change;
    fit = step(pose, at, ties, free, reach, settings);
  }
  return { fixed, moving, pose, at, halfWidthPx, halfHeightPx, information: fit.information, probability };
}

const ITERATIONS = 12;
const LEAST_FOR_TURN = 2;
const LEAST_FOR_STRETCH = 4;

/** The turn and the place of a pose, without scale and squeeze. */
function rigidAt(pose: Affine, at: { readonly x: number; readonly y: number }): Affine {
  const rotationDeg = (Math.atan2(pose.yx - pose.xy, pose.xx + pose.yy) * 180) / Math.PI;
  return poseAbout(at, {
    shiftX: applyX(pose, at.x, at.y) - at.x,
    shiftY: applyY(pose, at.x, at.y) - at.y,
    rotationDeg,
  });
}

function middle(points: readonly { readonly x: number; readonly y: number }[]): { x: number; y: number } {
  const sum = points.reduce((s, p) => ({ x: s.x + p.x, y: s.y + p.y }), { x: 0, y: 0 });
  return { x: sum.x / points.length, y: sum.y / points.length };
}

/** One Gauss–Newton step of the fit (null when it cannot be told), and the information at the present pose. */
function step(
  pose: Affine,
  at: { readonly x: number; readonly y: number },
  ties: readonly TiePoint[],
  free: number,
  reach: number,
  settings: TieSettings,
): { readonly change: Affine | null; readonly information: Float64Array } {
  const seen = { x: applyX(pose, at.x, at.y), y: applyY(pose, at.x, at.y) };
  const off = ties.map((t) => ({
    x: t.fixedX - applyX(pose, t.movingX, t.movingY),
    y: t.fixedY - applyY(pose, t.movingX, t.movingY),
  }));
  // Spread per axis by the median, so that a few wild ties do not widen it; corrected for what the fit took away.
  const squares = off.map((o) => o.x * o.x + o.y * o.y).sort((a, b) => a - b);
  const left = Math.max(1, 2 * ties.length - free) / (2 * ties.length);
  const variance = Math.max(
    settings.leastWarpPx ** 2,
    squares[Math.floor(squares.length / 2)]! / (2 * Math.LN2) / left,
  );
  const share = Math.min(1, settings.independentTies / ties.length) / meanLoss(settings.cauchy);
  const information = new Float64Array(DOF * DOF);
  const normal = new Float64Array(free * free);
  const right = new Float64Array(free);
  ties.forEach((t, k) => {
    const own = Math.max(t.variance, variance);
    const loss = 1 / (1 + (off[k]!.x ** 2 + off[k]!.y ** 2) / (2 * settings.cauchy ** 2 * own));
    const dx = (applyX(pose, t.movingX, t.movingY) - seen.x) / reach;
    const dy = (applyY(pose, t.movingX, t.movingY) - seen.y) / reach;
    const rows = [
      { row: [1, 0, -dy, dx, 0], value: off[k]!.x },
      { row: [0, 1, dx, dy, dy], value: off[k]!.y },
    ];
    for (const { row, value } of rows)
      for (let p = 0; p < free; p++) {
        right[p]! += (loss / own) * row[p]! * value;
        for (let q = 0; q < free; q++) {
          const term = (loss / own) * row[p]! * row[q]!;
          normal[p * free + q]! += term;
          const unit = (p < 2 ? 1 : reach) * (q < 2 ? 1 : reach);
          information[p * DOF + q]! += share * term * unit;
        }
      }
  });
  // A fit that ties in one line cannot tell is held by a trace of its scale.
  for (let p = 2; p < free; p++) normal[p * free + p]! += 1e-9 * normal[0]!;
  if (!solveInPlace(normal, right, free)) return { change: null, information };
  const [shiftX, shiftY, turn = 0, grow = 0, tall = 0] = right;
  const moved = poseAbout(seen, {
    shiftX: shiftX!,
    shiftY: shiftY!,
    rotationDeg: ((turn / reach) * 180) / Math.PI,
    scale: Math.exp(grow / reach),
    squeeze: Math.exp(tall / reach),
  });
  return { change: compose(moved, pose), information };
}

/** Mean weight that Cauchy's loss gives to errors that are normal: their information is not less for that. */
function meanLoss(cauchy: number): number {
  let sum = 0;
  for (let k = 0; k < 400; k++) {
    const u = (k + 0.5) / 20;
    sum += Math.exp(-u) / (1 + u / cauchy ** 2) / 20;
  }
  return sum;
}
