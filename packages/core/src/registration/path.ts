import { type Affine, poseAbout } from '../compute/affine.js';
import { valueAtRank } from '../compute/quantile.js';
import { driftWidths, layOut, type PathBlock, type PathInput, pathTime, type State } from './path-model.js';
import { solveBlocks, type Unknowns } from './track-model-solve.js';

/** A pass's smooth path: shift of the frame's centre at a time, strip px, p[0] + p[1]·τ + p[2]·τ² on each axis. */
export interface Course {
  /** Time of the reference frame, and the time over which τ runs from −1 to 1. */
  readonly reference: number;
  readonly span: number;
  readonly x: readonly number[];
  readonly y: readonly number[];
}

/** The solved way of a pass through its strip. */
export interface SolvedPath {
  /** Frame px -> strip px for each frame that takes part, by frame index. */
  readonly poses: ReadonlyMap<number, Affine>;
  /** The smooth path that the frames scatter about. */
  readonly course: Course;
  /** Field rotation, degrees a usual step, x towards y. */
  readonly rotationDegPerFrame: number;
  /** Change of the vertical stretch a usual step. */
  readonly squeezePerFrame: number;
  /** Spread of the frames about the smooth path, px per axis: the air's tilt. */
  readonly tiltPx: number;
  /** Spread of the patches after the solve, px per axis: the air's warps and noise. */
  readonly warpPx: number;
  /** Residual rms of each frame's sightings, px per axis, by frame index. */
  readonly residualPx: ReadonlyMap<number, number>;
  /** Distance of each frame from the smooth path, px, by frame index. */
  readonly offPathPx: ReadonlyMap<number, number>;
}

/**
 * One linear least-squares solve for all passes of a capture. Unknown: a shift for every frame; a shift for every point
 * of the ground that frames see; for every pass a path quadratic in time, which the frames' shifts scatter about (the
 * air's tilt), so that errors do not add up; and, since the same sky carries all passes, one rate of field rotation and
 * one of vertical stretch, per drift. The points are eliminated first, then the frames, so that the cost grows with the
 * number of frames. The spreads of warps and tilt are estimated in turn with the solution; sightings and frames that do
 * not fit lose their weight (Cauchy). The reference frame of each pass is not turned, nor moved where the ground is free.
 */
export function solvePaths(passes: readonly PathInput[]): SolvedPath[] {
  const blocks = layOut(passes);
  let states = blocks.map(startState);
  let found = solveBlocks(blocks, states);
  for (let round = 1; round < ROUNDS; round++) {
    states = blocks.map((block, k) => reweigh(block, found[k]!, states[k]!));
    found = solveBlocks(blocks, states);
  }
  return blocks.map((block, k) => describe(block, found[k]!, states[k]!));
}

/** {@link solvePaths} for a single pass. */
export function solvePath(pass: PathInput): SolvedPath {
  return solvePaths([pass])[0]!;
}

/** Pose of a frame that lies on the smooth path at a time. */
export function poseOnCourse(path: SolvedPath, time: number, widthPx: number, heightPx: number): Affine {
  const { course, rotationDegPerFrame, squeezePerFrame } = path;
  const since = time - course.reference;
  const tau = pathTime(course, since);
  return poseAbout(
    { x: (widthPx - 1) / 2, y: (heightPx - 1) / 2 },
    {
      shiftX: polynomial(course.x, tau),
      shiftY: polynomial(course.y, tau),
      rotationDeg: since * rotationDegPerFrame,
      squeeze: 1 + since * squeezePerFrame,
    },
  );
}

const ROUNDS = 8;
const CAUCHY = 2.385;
const LEAST_TILT_PX = 0.02;
const LEAST_WARP_PX = 0.01;

function startState(block: PathBlock): State {
  return {
    warpPx: 0.5,
    tiltPx: 5,
    sightingWeight: block.sightings.map(() => 1),
    frameWeight: block.frames.map(() => 1),
  };
}

function reweigh(block: PathBlock, found: Unknowns, last: State): State {
  const { residualX, residualY } = found;
  const seen = block.points.flat();
  const sizes = seen.flatMap((k) => [residualX[k]!, residualY[k]!]);
  const warpPx = Math.max(LEAST_WARP_PX, spread(sizes));
  const off = block.frames.map((_, i) => offPath(block, found, i));
  const tiltPx = Math.max(LEAST_TILT_PX, Math.min(last.tiltPx * 2, spread(off.flat())));
  return {
    warpPx,
    tiltPx,
    sightingWeight: block.sightings.map((_, k) => cauchy(Math.hypot(residualX[k]!, residualY[k]!) / (2 * warpPx))),
    frameWeight: off.map((o) => cauchy(Math.hypot(...o) / (Math.SQRT2 * tiltPx))),
  };
}

function offPath(block: PathBlock, found: Unknowns, slot: number): [number, number] {
  const tau = pathTime(block, block.since[slot]!);
  return [found.shiftX[slot]! - polynomial(found.pathX, tau), found.shiftY[slot]! - polynomial(found.pathY, tau)];
}

function describe(block: PathBlock, found: Unknowns, state: State): SolvedPath {
  const turn = found.turn / block.reach;
  const stretch = found.stretch / block.reach;
  const poses = new Map<number, Affine>();
  const offPathPx = new Map<number, number>();
  const sums = block.frames.map(() => ({ square: 0, count: 0 }));
  for (const k of block.points.flat()) {
    const sum = sums[block.sighter[k]!]!;
    sum.square += found.residualX[k]! ** 2 + found.residualY[k]! ** 2;
    sum.count += 2;
  }
  block.frames.forEach((frame, i) => {
    const drift = driftWidths(block, i);
    const parts = { shiftX: found.shiftX[i]!, shiftY: found.shiftY[i]! };
    const rotationDeg = (drift * turn * 180) / Math.PI;
    poses.set(frame, poseAbout(block.centre, { ...parts, rotationDeg, squeeze: 1 + drift * stretch }));
    offPathPx.set(frame, Math.hypot(...offPath(block, found, i)));
  });
  const perStep = block.driftPx / (2 * block.reach);
  return {
    poses,
    course: {
      reference: block.times.get(block.reference)!,
      span: block.span,
      x: Array.from(found.pathX),
      y: Array.from(found.pathY),
    },
    rotationDegPerFrame: (perStep * turn * 180) / Math.PI,
    squeezePerFrame: perStep * stretch,
    tiltPx: state.tiltPx,
    warpPx: state.warpPx,
    residualPx: new Map(
      block.frames.map((frame, i) => [frame, Math.sqrt(sums[i]!.square / Math.max(1, sums[i]!.count))]),
    ),
    offPathPx,
  };
}

function polynomial(terms: ArrayLike<number>, tau: number): number {
  return terms[0]! + tau * (terms[1]! + tau * terms[2]!);
}

function cauchy(t: number): number {
  return 1 / (1 + (t / CAUCHY) ** 2);
}

/** Robust standard deviation about zero: 1.4826 × the median of the absolute values. */
function spread(values: readonly number[]): number {
  if (values.length === 0) return 0;
  return 1.4826 * valueAtRank(Float64Array.from(values, Math.abs), Math.floor(values.length / 2));
}
