import { applyX, applyY } from '../compute/affine.js';
import type { PairMeasure } from './pair-tasks.js';

/** Two frames of a pass and what was measured between them. */
export interface FramePair {
  /** Index of the frame that stands still, and of the one that moves. */
  readonly fixed: number;
  readonly moving: number;
  readonly measure: PairMeasure;
}

/** One frame sees one point of the ground. */
export interface Sighting {
  /** Index of the frame. */
  readonly frame: number;
  /** Number of the point; only sightings of the same point speak about each other. */
  readonly ground: number;
  /** Where the frame has it, frame px. */
  readonly x: number;
  readonly y: number;
  /** Where the strip has it, strip px, but for an unknown shift that all sightings of the point share. */
  readonly u: number;
  readonly v: number;
  /** Variance from noise, px² per axis. */
  readonly noise: number;
  /** Number of the measurement it comes from: a frame's patches measured at once share the air's large warps. */
  readonly measure: number;
}

/** A pass to be solved. */
export interface PathInput {
  readonly sightings: readonly Sighting[];
  /** How far the points of the ground may lie off where the strip has them, 1 σ, px; infinite when they are free. */
  readonly groundPx: number;
  /** Index of the frame that is not turned, which need not take part; by default the middle one of those that do. */
  readonly reference?: number;
  /** Indices of the frames that take part, ascending. */
  readonly frames: readonly number[];
  /** Time of each frame and of the reference, usual steps, by index; more than the index where frames were dropped. */
  readonly times: ReadonlyMap<number, number>;
  /** Drift in a usual step, px. */
  readonly driftPx: number;
  readonly widthPx: number;
  readonly heightPx: number;
}

/** Terms of a pass's smooth path along one axis: 1, τ, τ². */
export const PATH_TERMS = 3;

/** A pass laid out for the solve. */
export interface PathBlock extends PathInput {
  /** Place of each frame among the block's own unknowns, by index. */
  readonly slot: ReadonlyMap<number, number>;
  /** Frame that is not turned. */
  readonly reference: number;
  readonly centre: { readonly x: number; readonly y: number };
  /** Half the width of the widest frame: positions and rates are in units of it, so that all unknowns are px. */
  readonly reach: number;
  /** Time from the first frame to the last, at least 1. */
  readonly span: number;
  /** Time from the reference frame, by slot. */
  readonly since: readonly number[];
  /** Sightings by point, each as places in {@link PathInput.sightings}; free points seen once say nothing and are dropped. */
  readonly points: readonly (readonly number[])[];
  /** Slot of each sighting's frame. */
  readonly sighter: readonly number[];
  /** Number of sightings of each one's measurement. */
  readonly count: readonly number[];
}

/** How sightings and frames count in one round of the solve. */
export interface State {
  readonly warpPx: number;
  readonly tiltPx: number;
  readonly sightingWeight: readonly number[];
  readonly frameWeight: readonly number[];
}

/** Lays out the passes of a capture. */
export function layOut(passes: readonly PathInput[]): PathBlock[] {
  const reach = Math.max(...passes.map((pass) => pass.widthPx)) / 2;
  return passes.map((pass) => {
    const { frames, times, sightings, widthPx, heightPx } = pass;
    const slot = new Map(frames.map((frame, i) => [frame, i]));
    const reference = pass.reference ?? frames[Math.floor(frames.length / 2)]!;
    const byPoint = new Map<number, number[]>();
    sightings.forEach((sighting, k) => {
      const known = byPoint.get(sighting.ground);
      if (known) known.push(k);
      else byPoint.set(sighting.ground, [k]);
    });
    const sighter = sightings.map((sighting) => slot.get(sighting.frame)!);
    const inMeasure = new Map<number, number>();
    for (const { measure } of sightings) inMeasure.set(measure, (inMeasure.get(measure) ?? 0) + 1);
    return {
      ...pass,
      slot,
      reference,
      centre: { x: (widthPx - 1) / 2, y: (heightPx - 1) / 2 },
      reach,
      span: Math.max(1, times.get(frames.at(-1)!)! - times.get(frames[0]!)!),
      since: frames.map((frame) => times.get(frame)! - times.get(reference)!),
      points: [...byPoint.values()].filter((seen) => seen.length > 1 || pass.groundPx < Number.POSITIVE_INFINITY),
      sighter,
      count: sightings.map(({ measure }) => inMeasure.get(measure)!),
    };
  });
}

/** How far a frame has drifted from the reference, in frame widths: what turn and stretch grow with. */
export function driftWidths(block: PathBlock, slot: number): number {
  return (block.since[slot]! * block.driftPx) / (2 * block.reach);
}

/** Time of a frame on the path's own scale, −1..1 over the pass when the reference is in its middle. */
export function pathTime(block: Pick<PathBlock, 'span'>, since: number): number {
  return (2 * since) / block.span;
}

/** Each patch of a pair as a point that two frames see. */
export function sightingsOfPairs(pairs: readonly FramePair[]): Sighting[] {
  let ground = 0;
  return pairs.flatMap(({ fixed, moving, measure: { pose, shifts } }, k) =>
    shifts.flatMap((s) => {
      const noise = (s.cxx + s.cyy) / 4;
      const point = { ground: ground++, u: 0, v: 0, noise };
      return [
        { ...point, frame: fixed, measure: 2 * k, x: applyX(pose, s.x, s.y) + s.dx, y: applyY(pose, s.x, s.y) + s.dy },
        { ...point, frame: moving, measure: 2 * k + 1, x: s.x, y: s.y },
      ];
    }),
  );
}

/** Median drift in a usual step over measured pairs, px. */
export function driftOfPairs(
  pairs: readonly FramePair[],
  times: ReadonlyMap<number, number>,
  widthPx: number,
  heightPx: number,
): number {
  const cx = (widthPx - 1) / 2;
  const cy = (heightPx - 1) / 2;
  const drifts = pairs.map(({ fixed, moving, measure }) => {
    const dx = applyX(measure.pose, cx, cy) - cx;
    const dy = applyY(measure.pose, cx, cy) - cy;
    return Math.hypot(dx, dy) / Math.max(1, Math.abs(times.get(moving)! - times.get(fixed)!));
  });
  drifts.sort((a, b) => a - b);
  return drifts.length === 0 ? 0 : drifts[Math.floor(drifts.length / 2)]!;
}
