import { type Affine, applyX, applyY } from '../compute/affine.js';
import type { WorkerPool } from '../compute/pool.js';
import { quantile } from '../compute/quantile.js';
import type { LeftOut } from '../job/errors.js';
import { measureTask, type PairMeasure } from './pair-tasks.js';
import { PATCH_DEFAULTS } from './patches.js';
import { poseOnCourse, type SolvedPath, solvePath } from './path.js';
import type { PathInput, Sighting } from './path-model.js';
import { clearModel, stackModel } from './stack-model.js';
import type { TrackFrame, TrackLoss } from './track.js';
import type { ModelFrame } from './track-model.js';
import { type CadenceStep, findLostSteps, timesOf, waypointsOf } from './track-model-cadence.js';
import { CLEAR_SHARE, type CoarseLight, gainsOnGround } from './track-model-faults.js';

/** A pass between two rounds. */
export interface PassState {
  readonly input: PathInput;
  readonly path: SolvedPath;
  /** Indices of the frames that were linked to others before any model was there. */
  readonly linked: ReadonlySet<number>;
  /** Indices of the frames that are a picture twice. */
  readonly doubled: ReadonlySet<number>;
  /** Steps that the recording lost. */
  readonly lost: readonly CadenceStep[];
}

/** The first way is right to tenths of a px, the first model's ground bent by as much; a fourth round changes nothing. */
const ROUNDS = 3;
const LEAST_PATCHES = 3;
/**
 * How far the model's ground is thought to be bent, 1 σ, px: at first as the first way has left it, which a free shift
 * of every cell takes up; at last only by what is common to neighbouring cells, so that the air's mean warps, which
 * differ within a cell, are not taken for errors of the frames.
 */
const BENT_GROUND_PX = 0.5;
export const GROUND_PX = 0.05;
const LEAST_CORRELATION = 0.15;
/** Side of the cells of ground that share a shift, strip px. */
const CELL_PX = PATCH_DEFAULTS.stepPx;

/**
 * Stacks the pass by its present poses, measures every frame against the mean of the others, solves again; three times. Each
 * cell of the model's ground has a free shift in the solve, so that the model need not be true, only the same for all
 * frames: errors do not add up from frame to frame. Frames that were not linked are tried where the path expects them.
 */
export async function refineByModel(
  frames: readonly TrackFrame[],
  skip: ReadonlySet<number>,
  first: PassState,
  pool: WorkerPool,
  signal: AbortSignal | undefined,
  onDone: (done: number) => void,
): Promise<PassState> {
  const tried = frames.filter((frame) => !skip.has(frame.index));
  // The model's strip stays the one in which the first way put it.
  const { frames: linked } = first.input;
  const reference = linked[Math.floor(linked.length / 2)]!;
  let state = first;
  let weights = new Map(first.input.frames.map((index) => [index, 1]));
  for (let round = 0; round < ROUNDS; round++) {
    const placed = tried.map((frame) => ({
      detail: frame.detail,
      pose: poseIn(state, frame.index),
      weight: weights.get(frame.index) ?? 0,
    }));
    const near = placed.map((_, k) => round > 0 && state.path.poses.has(tried[k]!.index));
    const measures = await measureAll(placed, near, pool, signal, (done) => onDone(round * frames.length + done));
    const good = tried.flatMap((frame, k) => {
      const measure = measures[k]!;
      return usable(measure) ? [{ frame, measure, pose: placed[k]!.pose }] : [];
    });
    // Nothing overlaps anything: the pass is one frame, the one in the middle.
    if (good.length < 2) return alone(state);
    const input: PathInput = {
      ...state.input,
      groundPx: round < ROUNDS - 1 ? BENT_GROUND_PX : GROUND_PX,
      reference,
      frames: good.map(({ frame }) => frame.index),
      sightings: good.flatMap(({ frame, measure, pose }) => sightingsOf(frame.index, measure, pose)),
    };
    state = inTime({ ...state, input, path: solvePath(input) });
    weights = weightsOf(good.map(({ frame, measure }) => [frame.index, patchCorrelation(measure)]));
  }
  return state;
}

/** Reads the cadence again, off poses that are right to hundredths of a px; solves again where it has changed. */
function inTime(state: PassState): PassState {
  const { input, path, doubled } = state;
  const lost = findLostSteps(waypointsOf(path.poses, doubled, input.widthPx, input.heightPx));
  const times = timesOf([...input.times.keys()], lost);
  if ([...times].every(([index, time]) => input.times.get(index) === time)) return { ...state, lost };
  const changed = { ...input, times };
  return { ...state, input: changed, path: solvePath(changed), lost };
}

function poseIn({ input, path }: PassState, index: number): Affine {
  return path.poses.get(index) ?? poseOnCourse(path, input.times.get(index)!, input.widthPx, input.heightPx);
}

async function measureAll(
  placed: readonly ModelFrame[],
  near: readonly boolean[],
  pool: WorkerPool,
  signal: AbortSignal | undefined,
  onDone: (done: number) => void,
): Promise<(PairMeasure | null)[]> {
  const stacked = placed.filter((frame) => frame.weight > 0);
  const model = await stackModel(stacked, pool, signal);
  const common = { kind: 'model' as const, model, patches: PATCH_DEFAULTS };
  const inputs = placed.map((frame, k) => ({ ...common, frame, near: near[k]! }));
  const measures = await pool.map(measureTask, inputs, { signal, onDone });
  clearModel(model, pool);
  return measures;
}

function usable(measure: PairMeasure | null): measure is PairMeasure {
  return measure !== null && measure.shifts.length >= LEAST_PATCHES && measure.correlation >= LEAST_CORRELATION;
}

/** Where the frame's patches lie on the model's ground, each in its cell. */
function sightingsOf(frame: number, measure: PairMeasure, pose: Affine): Sighting[] {
  return measure.shifts.map((s) => {
    const x = applyX(pose, s.x, s.y);
    const y = applyY(pose, s.x, s.y);
    const [column, row] = [Math.floor(x / CELL_PX), Math.floor(y / CELL_PX)];
    return {
      frame,
      ground: (row + CELLS_ALONG / 2) * CELLS_ALONG + column + CELLS_ALONG / 2,
      x: s.x,
      y: s.y,
      u: x + s.dx,
      v: y + s.dy,
      noise: (s.cxx + s.cyy) / 2,
      measure: frame,
    };
  });
}

/** More cells than any strip has along a side. */
const CELLS_ALONG = 65_536;

function patchCorrelation({ shifts }: PairMeasure): number {
  return shifts.reduce((sum, s) => sum + s.correlation / shifts.length, 0);
}

/** What a frame counts in the model: its detail's signal over noise, as its correlation with the others says, against the usual. */
function weightsOf(correlations: readonly (readonly [number, number])[]): Map<number, number> {
  const power = correlations.map(([, c]) => c ** 2 / (1.001 - c ** 2));
  const usual = quantile(power, 0.5);
  return new Map(correlations.map(([index], k) => [index, Math.min(1.5, power[k]! / usual)]));
}

function alone(state: PassState): PassState {
  const { frames } = state.input;
  const middle = frames[Math.floor(frames.length / 2)]!;
  const input = {
    ...state.input,
    frames: [middle],
    sightings: [],
    groundPx: Number.POSITIVE_INFINITY,
    reference: middle,
  };
  return { ...state, input, path: solvePath(input) };
}

/**
 * Farther than this many times the usual scatter (per axis) off the path a frame was bumped, and no less than so many
 * px; somewhat less where it dies away, next to a frame that was bumped.
 */
const BUMP_SIGMAS = 6;
const BUMP_PX = 2;
const TAIL_SHARE = 0.6;
/** Frames are left out for their light or place only where a drift of a frame's width has at least so many. */
const LEAST_REDUNDANCY = 4;
/** A pass of fewer frames does not show what scatter is usual. */
const LEAST_FOR_SCATTER = 24;

/** Frames that stay, and why the others do not; frames in `skip` were left out before. */
export function lossesAfter(
  frames: readonly TrackFrame[],
  coarse: readonly CoarseLight[],
  skip: ReadonlySet<number>,
  state: PassState,
): { kept: number[]; losses: Map<number, LeftOut<TrackLoss>> } {
  const { input, path, linked } = state;
  const tried = frames.map((frame, i) => ({ frame, coarse: coarse[i]! })).filter(({ frame }) => !skip.has(frame.index));
  const gains = gainsOnGround(tried.map((t) => ({ coarse: t.coarse, pose: poseIn(state, t.frame.index) })));
  const usual = quantile(gains.filter(Number.isFinite), 0.75);
  const spare = input.driftPx * LEAST_REDUNDANCY <= input.widthPx;
  const bumpPx = Math.max(BUMP_PX, BUMP_SIGMAS * path.tiltPx);
  const told = spare && input.frames.length >= LEAST_FOR_SCATTER;
  const bumped = told ? bumpedFrames(input.frames, path.offPathPx, bumpPx) : new Set();
  const losses = new Map<number, LeftOut<TrackLoss>>();
  tried.forEach(({ frame: { index, item } }, k) => {
    const share = gains[k]! / usual;
    const offPx = path.offPathPx.get(index);
    const lose = (reason: TrackLoss, detail: string): void => void losses.set(index, { item, reason, detail });
    if (spare && share < CLEAR_SHARE) {
      lose(
        'clouded',
        `${Math.round(100 * share)} % of the usual light from the same ground, at least ${100 * CLEAR_SHARE} % expected`,
      );
    } else if (offPx === undefined) {
      lose('not-registered', detailOf(linked.has(index)));
    } else if (bumped.has(index)) {
      lose(
        'bumped',
        `${offPx.toFixed(1)} px off the path of the pass, where most lie within ${(2 * path.tiltPx).toFixed(1)}`,
      );
    }
  });
  const kept = input.frames.filter((index) => !losses.has(index));
  if (kept.length > 0) return { kept, losses };
  return { kept: [...input.frames], losses: new Map([...losses].filter(([index]) => !input.frames.includes(index))) };
}

/** Frames farther off than `bumpPx`, and those next to them that have not come back yet. */
function bumpedFrames(frames: readonly number[], offPathPx: ReadonlyMap<number, number>, bumpPx: number): Set<number> {
  const bumped = new Set<number>();
  for (const order of [frames, frames.toReversed()]) {
    let inTail = false;
    for (const index of order) {
      const offPx = offPathPx.get(index)!;
      inTail = offPx > bumpPx || (inTail && offPx > TAIL_SHARE * bumpPx);
      if (inTail) bumped.add(index);
    }
  }
  return bumped;
}

function detailOf(linked: boolean): string {
  return linked
    ? 'has too little detail in common with its neighbours to be measured'
    : 'shows no ground in common with its neighbours that could be recognised';
}
