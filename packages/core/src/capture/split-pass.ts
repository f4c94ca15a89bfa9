import type { Notice, StillsPass } from './pass.js';
import { splitByGap, type TimeRun } from './time-split.js';

/** Frames that a pass has at least: a few stray ones do not make one. */
const LEAST_FRAMES = 3;

/**
 * Parts a folder of everything where its frames lie far apart in time. Only stamps of the exposure, or `gapS`, part it:
 * the times of files are often those of a copy.
 */
export function splitPass(pass: StillsPass, gapS: number | undefined): { passes: StillsPass[]; notices: Notice[] } {
  const whole = { passes: [pass], notices: [] };
  const isTaken = pass.frames.some(({ recorded }) => recorded?.meaning === 'taken');
  if (!isTaken && gapS === undefined) return whole;
  const runs = long(
    splitByGap(
      pass.frames.map(({ time }) => time?.clockMs),
      gapS,
    ).runs,
  );
  if (runs.length < 2) return whole;
  const passes = runs.map(({ first, last }, i) => ({
    ...pass,
    name: `${pass.name} ${i + 1}`,
    frames: pass.frames.slice(first, last + 1),
  }));
  const told = runs
    .slice(1)
    .map(({ first, gapBeforeS }) => `${gapBeforeS!.toFixed(0)} s before ${pass.frames[first]!.item}`);
  const detail = `Parted into ${runs.length} passes where no frame was taken for long: ${told.join(', ')}.`;
  return { passes, notices: [{ item: pass.name, reason: 'split-by-time', detail }] };
}

/** Runs of which each has enough frames; a short one goes with the one before it, or the first with the next. */
function long(runs: readonly TimeRun[]): TimeRun[] {
  const out: TimeRun[] = [];
  for (const run of runs) {
    const before = out.at(-1);
    const isShort = (r: TimeRun): boolean => r.last - r.first + 1 < LEAST_FRAMES;
    if (before && (isShort(run) || isShort(before))) out[out.length - 1] = { ...before, last: run.last };
    else out.push(run);
  }
  return out;
}
