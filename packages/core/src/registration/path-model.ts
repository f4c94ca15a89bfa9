import { applyX, applyY } from '../compute/affine.js';
import type { PairMeasure } from './pair-tasks.js';

/** Two frames of a pass and what was measured between them. */
export interface FramePair {
  /** Index of the frame that stands still, and of the one that moves. */
  readonly fixed: number;
  readonly moving: number;
  readonly measure: PairMeasure;
}

/** A pass to be solved. */
export interface PathInput {
  readonly pairs: readonly FramePair[];
  /** Indices of the frames that take part, ascending. */
  readonly frames: readonly number[];
  readonly widthPx: number;
  readonly heightPx: number;
}

/** A pass with its place among the unknowns. */
export interface PathBlock extends PathInput {
  /** First unknown of its shifts (x and y a frame), and of its path (x then y: 1, τ, τ²). */
  readonly shiftsAt: number;
  readonly pathAt: number;
  /** Frame that is not turned, in the middle. */
  readonly reference: number;
  readonly slot: ReadonlyMap<number, number>;
  readonly centre: { readonly x: number; readonly y: number };
  /** Half the width of the widest frame: positions and rates are in units of it, so that all unknowns are px. */
  readonly reach: number;
  /** Frames from the first to the last, and the drift over them, px, as the measured neighbours say. */
  readonly span: number;
  readonly driftPx: number;
}

/** Unknowns that all passes share: field rotation and vertical stretch over a drift of one frame width, times reach. */
export const TURN = 0;
export const STRETCH = 1;
const SHARED = 2;
const PATH_TERMS = 6;

/** Lays out the unknowns of all passes. */
export function layOut(passes: readonly PathInput[]): { blocks: PathBlock[]; size: number } {
  let size = SHARED;
  const reach = Math.max(...passes.map((pass) => pass.widthPx)) / 2;
  const blocks = passes.map((pass) => {
    const { frames, pairs, widthPx, heightPx } = pass;
    const shiftsAt = size;
    const pathAt = shiftsAt + 2 * frames.length;
    size = pathAt + PATH_TERMS;
    const span = Math.max(1, frames.at(-1)! - frames[0]!);
    return {
      ...pass,
      shiftsAt,
      pathAt,
      reference: frames[Math.floor(frames.length / 2)]!,
      slot: new Map(frames.map((frame, i) => [frame, shiftsAt + 2 * i])),
      centre: { x: (widthPx - 1) / 2, y: (heightPx - 1) / 2 },
      reach,
      span,
      driftPx: span * driftPerFrame(pairs, widthPx, heightPx),
    };
  });
  return { blocks, size };
}

/** Median drift a frame over the measured pairs. */
function driftPerFrame(pairs: readonly FramePair[], widthPx: number, heightPx: number): number {
  const cx = (widthPx - 1) / 2;
  const cy = (heightPx - 1) / 2;
  const drifts = pairs.map(({ fixed, moving, measure }) => {
    const dx = applyX(measure.pose, cx, cy) - cx;
    const dy = applyY(measure.pose, cx, cy) - cy;
    return Math.hypot(dx, dy) / Math.abs(moving - fixed);
  });
  drifts.sort((a, b) => a - b);
  return drifts.length === 0 ? 0 : drifts[Math.floor(drifts.length / 2)]!;
}

/** How far a frame has drifted from the reference, in frame widths: what turn and stretch grow with. */
export function driftWidths(block: PathBlock, frame: number): number {
  return ((frame - block.reference) / block.span) * (block.driftPx / (2 * block.reach));
}

/** A patch of a pair as points of both frames about the centre in units of reach, with each frame's drift. */
export interface Observation {
  readonly fx: number;
  readonly fy: number;
  readonly mx: number;
  readonly my: number;
  readonly di: number;
  readonly dj: number;
  /** Variance from noise, px² per axis. */
  readonly noise: number;
}

export function observationsOf(block: PathBlock, pair: FramePair): Observation[] {
  const { centre, reach } = block;
  const { pose, shifts } = pair.measure;
  const di = driftWidths(block, pair.fixed);
  const dj = driftWidths(block, pair.moving);
  return shifts.map((s) => ({
    fx: (applyX(pose, s.x, s.y) + s.dx - centre.x) / reach,
    fy: (applyY(pose, s.x, s.y) + s.dy - centre.y) / reach,
    mx: (s.x - centre.x) / reach,
    my: (s.y - centre.y) / reach,
    di,
    dj,
    noise: (s.cxx + s.cyy) / 2,
  }));
}

/** One linear equation: sum of coefficient · unknown = value. */
export interface Equation {
  readonly at: readonly number[];
  readonly of: readonly number[];
  readonly value: number;
}

/** shift_i + s_i + d_i·(turn·J + stretch·K)·s_i = shift_j + s_j + d_j·(turn·J + stretch·K)·s_j, x and y. */
export function equationsOf(block: PathBlock, pair: FramePair, o: Observation): readonly [Equation, Equation] {
  const i = block.slot.get(pair.fixed)!;
  const j = block.slot.get(pair.moving)!;
  return [
    { at: [i, j, TURN], of: [1, -1, -o.di * o.fy + o.dj * o.my], value: (o.mx - o.fx) * block.reach },
    {
      at: [i + 1, j + 1, TURN, STRETCH],
      of: [1, -1, o.di * o.fx - o.dj * o.mx, o.di * o.fy - o.dj * o.my],
      value: (o.my - o.fy) * block.reach,
    },
  ];
}

/** A frame's shift less the smooth path at its time = 0, x and y. */
export function pathEquations(block: PathBlock, frame: number): readonly [Equation, Equation] {
  const i = block.slot.get(frame)!;
  const tau = (2 * (frame - block.reference)) / block.span;
  const of = [1, -1, -tau, -tau * tau];
  const p = block.pathAt;
  return [
    { at: [i, p, p + 1, p + 2], of, value: 0 },
    { at: [i + 1, p + 3, p + 4, p + 5], of, value: 0 },
  ];
}

/** Left side less right side. */
export function residualOf(equation: Equation, unknowns: ArrayLike<number>): number {
  let sum = -equation.value;
  for (let k = 0; k < equation.at.length; k++) sum += equation.of[k]! * unknowns[equation.at[k]!]!;
  return sum;
}
