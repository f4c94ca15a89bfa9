import type { WorkerPool } from '../compute/pool.js';
import { quantile } from '../compute/quantile.js';
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

/**
 * Finds where a recording of a drifting body was pointed anew: the positions in `frames`, in the order of the recording, of
 * the first frame of each view after the first. Neighbours are locked by correlation; the ground goes on when it lies
 * ahead on the way that it takes before or after, however far, since frames can be missing. A bad frame or two are
 * bridged, and holes that the drift bridges do not count. What does not go on is a jump when three frames or more drift
 * evenly on both sides of it.
 */
export async function findViewJumps(
  frames: readonly LinkFrame[],
  pool: WorkerPool,
  signal?: AbortSignal,
  onDone?: (done: number) => void,
): Promise<number[]> {
  const count = frames.length;
  const neighbours = frames.slice(1).map((_, i) => [i, i + 1] as const);
  const locked = await lockAll(frames, neighbours, pool, signal, onDone);
  const steps = locked.map((pair) => stepOf(pair, frames));
  const goesOn = (pair: Candidates): boolean => isAhead(pair, frames, driftsBeside(steps, pair.fixed, pair.moving));
  const broken = new Set(locked.filter((pair) => !goesOn(pair)).map(({ fixed }) => fixed));
  const mend = async (pairs: readonly (readonly [number, number])[]): Promise<void> => {
    for (const pair of await lockAll(frames, pairs, pool, signal)) {
      if (goesOn(pair)) for (let i = pair.fixed; i < pair.moving; i++) broken.delete(i);
    }
  };
  const over = [...broken].flatMap((i): [number, number][] => [
    [i - 1, i + 1],
    [i, i + 2],
    [i - 1, i + 2],
  ]);
  await mend(over.filter(([a, b]) => a >= 0 && b < count));
  const views = viewsOf(count, broken);
  await mend(views.slice(1).flatMap((view, k) => acrossHole(views[k]!, view)));
  return viewsOf(count, broken)
    .slice(1)
    .map(([first]) => first);
}

/** Runs of frames that no break parts, first and last, without those that are too short. */
function viewsOf(count: number, broken: ReadonlySet<number>): (readonly [number, number])[] {
  const views: [number, number][] = [];
  let first = 0;
  for (let i = 0; i < count; i++) {
    if (i < count - 1 && !broken.has(i)) continue;
    if (i - first + 1 >= LEAST_FRAMES) views.push([first, i]);
    first = i + 1;
  }
  return views;
}

/** The last frames of a view with the first of the next one. */
function acrossHole(
  [, last]: readonly [number, number],
  [first]: readonly [number, number],
): (readonly [number, number])[] {
  const near = Array.from({ length: LEAST_FRAMES }, (_, k) => k);
  return near.flatMap((a) => near.map((b) => [last - a, first + b] as const));
}

function stepOf({ steps, found }: Candidates, frames: readonly LinkFrame[]): Step | undefined {
  if (!found[0]) return undefined;
  const { x, y } = shiftOf(found[0].pose, frames[0]!.light);
  return { x: x / steps, y: y / steps };
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
