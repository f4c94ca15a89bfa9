import type { WorkerPool } from '../compute/pool.js';
import { quantile } from '../compute/quantile.js';
import { LOCK_DEFAULTS } from './lock.js';
import { type Candidates, type LinkFrame, lockAll, shiftOf } from './lock-frames.js';

/** How far the ground moves in a step of the recording, px. */
interface Step {
  readonly x: number;
  readonly y: number;
}

/** Frames that a recording has at least on either side of a jump. */
const LEAST_FRAMES = 3;
/** Neighbours on one side from which the drift there is told. */
const NEAR_PAIRS = 4;
/**
 * Shares of the frame's shorter side and of the way that was expected by which frames may lie off it: a nudge leaves nearly
 * all ground in common, which the tracker copes with.
 */
const OFF_SIDE = 0.1;
const OFF_WAY = 0.15;
/** Steps over which the speed of the ground is told: what a step is off by is then a fraction of a coarse pixel. */
const SPEED_STEPS = 5;
/** The camera is on its way where the speed differs from the middle one by so many coarse px a step, and so often the usual. */
const LEAST_MOVE = 0.6;
const MOVE_SPREADS = 8;

/** A run of frames that show one view, by their positions. */
export interface View {
  readonly first: number;
  readonly last: number;
}

/** How a recording is looked at. */
export interface FindViewsOptions {
  /**
   * Whether pictures follow each other without a pause, as in a clip, so that they show the camera on its way to the next view
   * in steps that are all small. Stills do not, and a frame of them that is missing would look like such a step.
   */
  readonly continuous: boolean;
  readonly signal?: AbortSignal | undefined;
  readonly onDone?: (done: number) => void;
}

/**
 * Finds the views of a recording of a drifting body that was pointed anew, in the order of the recording; none when it has just
 * one. Neighbours are locked by correlation; the ground goes on when it lies ahead on the way that it takes before or after,
 * however far, since frames can be missing. A bad frame or two are bridged, and holes that the drift bridges do not count.
 * In a continuous recording ground that is too fast or too slow for the drift is a hole, too. What does not go on is a jump
 * when three frames or more drift evenly on both sides of it. What lies between two views of a continuous recording shows the
 * camera on its way; of stills it belongs to the view before.
 */
export async function findViews(
  frames: readonly LinkFrame[],
  pool: WorkerPool,
  { continuous, signal, onDone }: FindViewsOptions,
): Promise<View[]> {
  const count = frames.length;
  const neighbours = frames.slice(1).map((_, i) => [i, i + 1] as const);
  const locked = await lockAll(frames, neighbours, pool, signal, onDone);
  const steps = locked.map((pair) => stepOf(pair, frames));
  const beside = ({ fixed, moving }: Candidates): Step[] => driftsBeside(steps, fixed, moving);
  const broken = new Set(locked.filter((pair) => !isAhead(pair, frames, beside(pair))).map(({ fixed }) => fixed));
  const mend = async (
    pairs: readonly (readonly [number, number])[],
    driftsAt: (pair: Candidates) => readonly Step[],
  ): Promise<void> => {
    for (const pair of await lockAll(frames, pairs, pool, signal)) {
      if (isAhead(pair, frames, driftsAt(pair))) for (let i = pair.fixed; i < pair.moving; i++) broken.delete(i);
    }
  };
  const over = [...broken].flatMap((i): [number, number][] => [
    [i - 1, i + 1],
    [i, i + 2],
    [i - 1, i + 2],
  ]);
  await mend(
    over.filter(([a, b]) => a >= 0 && b < count),
    beside,
  );
  if (continuous) for (const i of moves(steps, broken, frames)) broken.add(i);
  const views = viewsOf(count, broken);
  for (const [k, after] of views.slice(1).entries()) {
    const before = views[k]!;
    const drifts = [before, after].flatMap((view) => driftOf(steps.slice(view.first, view.last)));
    await mend(acrossHole(before, after), () => drifts);
  }
  const found = viewsOf(count, broken);
  if (found.length < 2) return [];
  return continuous
    ? found
    : found.map(({ first, last }, k) => ({ first, last: (found[k + 1]?.first ?? last + 1) - 1 }));
}

/** Runs of frames that no break parts, without those that are too short. */
function viewsOf(count: number, broken: ReadonlySet<number>): View[] {
  const views: View[] = [];
  let first = 0;
  for (let i = 0; i < count; i++) {
    if (i < count - 1 && !broken.has(i)) continue;
    if (i - first + 1 >= LEAST_FRAMES) views.push({ first, last: i });
    first = i + 1;
  }
  return views;
}

/** The last frames of a view with the first of the next one. */
function acrossHole({ last }: View, { first }: View): (readonly [number, number])[] {
  const near = Array.from({ length: LEAST_FRAMES }, (_, k) => k);
  return near.flatMap((a) => near.map((b) => [last - a, first + b] as const));
}

function stepOf({ steps, found }: Candidates, frames: readonly LinkFrame[]): Step | undefined {
  if (!found[0]) return undefined;
  const { x, y } = shiftOf(found[0].pose, frames[0]!.light);
  return { x: x / steps, y: y / steps };
}

/** Steps in which the camera is on its way: all drift is about as fast, whichever way the camera is turned. */
function moves(
  steps: readonly (Step | undefined)[],
  broken: ReadonlySet<number>,
  frames: readonly LinkFrame[],
): number[] {
  const speeds = steps.map((_, first) => {
    const near = steps.slice(first, first + SPEED_STEPS).filter((step, k) => step && !broken.has(first + k)) as Step[];
    if (near.length < SPEED_STEPS - 1) return undefined;
    const mean = (of: (step: Step) => number): number => near.reduce((sum, step) => sum + of(step), 0) / near.length;
    return Math.hypot(
      mean(({ x }) => x),
      mean(({ y }) => y),
    );
  });
  const known = speeds.filter((speed) => speed !== undefined);
  if (known.length === 0) return [];
  const middle = quantile(known, 0.5);
  // Even where the camera is on its way for half of the time, a quarter of the speeds lies nearer than this.
  const spread = quantile(
    known.map((speed) => Math.abs(speed - middle)),
    0.25,
  );
  const { width, height } = frames[0]!.light;
  const coarsePx = Math.max(1, Math.ceil(Math.max(width, height) / LOCK_DEFAULTS.coarseSidePx));
  const most = Math.max(LEAST_MOVE * coarsePx, MOVE_SPREADS * spread);
  const off = speeds.map((speed) => speed !== undefined && Math.abs(speed - middle) > most);
  // Told by what follows, and at the end of the way by what was before.
  return steps.flatMap((_, i) => (off[i] || off[i - SPEED_STEPS + 1] ? [i] : []));
}

/** The drift before and after two frames: medians of neighbours that lie outside them. */
function driftsBeside(steps: readonly (Step | undefined)[], fixed: number, moving: number): Step[] {
  return [steps.slice(Math.max(0, fixed - NEAR_PAIRS), fixed), steps.slice(moving, moving + NEAR_PAIRS)].flatMap(
    (side) => {
      const known = side.filter((step) => step !== undefined);
      if (known.length === 0) return [];
      const middle = (of: (step: Step) => number): number => quantile(known.map(of), 0.5);
      return [{ x: middle(({ x }) => x), y: middle(({ y }) => y) }];
    },
  );
}

/** The drift in a view: its mean step, of which ends may show the camera on its way. */
function driftOf(all: readonly (Step | undefined)[]): Step[] {
  const inner = all.length > 3 * SPEED_STEPS ? all.slice(SPEED_STEPS, -SPEED_STEPS) : all;
  const known = inner.filter((step) => step !== undefined);
  if (known.length === 0) return [];
  const mean = (of: (step: Step) => number): number => meanOfMiddle(known.map(of));
  return [{ x: mean(({ x }) => x), y: mean(({ y }) => y) }];
}

/** Mean of the middle half of values, whatever the others are. */
function meanOfMiddle(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  const off = Math.floor(sorted.length / 4);
  const middle = sorted.slice(off, sorted.length - off);
  return middle.reduce((sum, value) => sum + value, 0) / middle.length;
}

/** Whether a lock lies ahead on one of the ways. */
function isAhead({ steps, found }: Candidates, frames: readonly LinkFrame[], drifts: readonly Step[]): boolean {
  const { light } = frames[0]!;
  const off = OFF_SIDE * Math.min(light.width, light.height);
  return found.some(({ pose }) => {
    const { x, y } = shiftOf(pose, light);
    return drifts.some((drift) => {
      const way = Math.hypot(drift.x, drift.y);
      // Where the body hardly moves there is no way to go along: all must lie near.
      if (way < 1) return Math.hypot(x - drift.x * steps, y - drift.y * steps) <= off;
      const ahead = (x * drift.x + y * drift.y) / way;
      const aside = Math.abs(x * drift.y - y * drift.x) / way;
      return ahead >= -off && aside <= off + OFF_WAY * Math.abs(ahead);
    });
  });
}
