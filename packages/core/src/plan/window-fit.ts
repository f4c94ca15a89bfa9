import type { SkyWindow } from '../sky/windows.js';
import { momentIn } from './plan-clock.js';
import { PLAN_DEFAULTS } from './plan-defaults.js';
import type { Rig } from './plan-options.js';
import type { WindowFit } from './plan-types.js';
import { lasting, passCount } from './plan-words.js';
import { type NoSchedule, type Schedule, schedule } from './schedule.js';

/** A window of the sky with its passes, or why it has none. */
export interface FilledWindow {
  readonly window: SkyWindow;
  readonly made: Schedule | NoSchedule;
  /** Null when no number of passes would do. */
  readonly fit: WindowFit | null;
}

/** The best windows with their passes, in their order, those last that are too short for them. */
export function filledWindows(rig: Rig, found: readonly SkyWindow[]): readonly FilledWindow[] {
  const filled = found.slice(0, PLAN_DEFAULTS.mostWindows).map((window) => {
    const [startMs, endMs] = [window.start.getTime(), window.end.getTime()];
    const made = schedule(rig, { startMs, endMs, bestMs: window.best.getTime() });
    return { window, made, fit: fitOf(rig, made, (endMs - startMs) / 1000) };
  });
  const isTooShort = ({ fit }: FilledWindow): boolean => fit !== null && fit.spareS < 0;
  return [...filled.filter((one) => !isTooShort(one)), ...filled.filter(isTooShort)];
}

/** "5 passes in 23 min, 94 min to spare", "too short by 6 min for 5 passes in 23 min" */
export function fitText({ passes, takesS, spareS }: Omit<WindowFit, 'during'>): string {
  const which = `${passCount(passes)} in ${lasting(takesS)}`;
  return spareS < 0 ? `too short by ${lasting(-spareS)} for ${which}` : `${which}, ${lasting(spareS)} to spare`;
}

function fitOf(rig: Rig, made: Schedule | NoSchedule, lastsS: number): WindowFit | null {
  if ('reason' in made) {
    const { neededPasses, neededS } = made;
    if (neededPasses === null || neededS === null) return null;
    // Passes begin on whole seconds: less than one of them may be all that is lacking.
    const spareS = Math.min(-1, Math.floor(lastsS - neededS));
    return { passes: neededPasses, takesS: neededS, spareS, during: null };
  }
  const [first, last] = [made.passes[0]!, made.passes.at(-1)!];
  const takesS = (last.startMs - first.startMs) / 1000 + last.driftS;
  const during = {
    setUp: momentIn(rig.timeZone, first.startMs - 1000 * rig.reaimS),
    end: momentIn(rig.timeZone, last.startMs + 1000 * last.driftS),
  };
  return { passes: made.passes.length, takesS, spareS: Math.floor(lastsS - takesS), during };
}
