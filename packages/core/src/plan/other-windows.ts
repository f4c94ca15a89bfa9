import { DEG } from '../sky/angles.js';
import { ephemeris } from '../sky/ephemeris.js';
import type { SkyWindow } from '../sky/windows.js';
import type { Rig } from './plan-options.js';

/** Faster than any body climbs, degrees per hour. */
const CLIMB = 16;
const HOUR_MS = 3_600_000;
const LEAST_STEP_MS = 60_000;
const SCORE_STEP_MS = 300_000;
const SUNSET_DEG = -0.8333;
const DARK_DEG = -18;

/**
 * Windows of a body other than the Moon, as `skyWindows` gives those of the Moon: where the body is high enough and the sky
 * as wished, the best first.
 */
export function otherWindows(
  rig: Rig,
  from: Date,
  to: Date,
  leastAltitudeDeg: number,
  sky: 'twilight' | 'dark' | 'any',
): readonly SkyWindow[] {
  const margin = (at: number): number => {
    const { altitudeDeg, sunAltitudeDeg: sun } = ephemeris(rig.body, new Date(at), rig.site);
    const high = altitudeDeg - leastAltitudeDeg;
    if (sky === 'any') return high;
    return Math.min(high, sky === 'dark' ? DARK_DEG - sun : Math.min(SUNSET_DEG - sun, sun - DARK_DEG));
  };
  const edge = (outside: number, inside: number): number => {
    let [out, within] = [outside, inside];
    while (Math.abs(within - out) > 1) {
      const middle = Math.round((out + within) / 2);
      if (margin(middle) >= 0) within = middle;
      else out = middle;
    }
    return within;
  };
  const [begin, finish] = [from.getTime(), to.getTime()];
  const windows: SkyWindow[] = [];
  let start: number | null = null;
  let last = begin;
  for (let at = begin; ; ) {
    const left = margin(at);
    if (left >= 0 && start === null) start = at === begin ? begin : edge(last, at);
    if (left < 0 && start !== null) {
      windows.push(describe(rig, start, edge(at, last)));
      start = null;
    }
    if (at === finish) break;
    last = at;
    at = Math.min(finish, at + Math.max(LEAST_STEP_MS, Math.floor((Math.abs(left) / CLIMB) * HOUR_MS)));
  }
  if (start !== null) windows.push(describe(rig, start, finish));
  return windows.sort((a, b) => b.score - a.score || a.start.getTime() - b.start.getTime());
}

function describe(rig: Rig, start: number, end: number): SkyWindow {
  const steps = Math.max(1, Math.ceil((end - start) / SCORE_STEP_MS));
  let [score, best, highest] = [0, start, -90];
  for (let step = 0; step <= steps; step++) {
    const at = Math.round(start + ((end - start) * step) / steps);
    const { altitudeDeg } = ephemeris(rig.body, new Date(at), rig.site);
    if (altitudeDeg > highest) [best, highest] = [at, altitudeDeg];
    const weight = step === 0 || step === steps ? 0.5 : 1;
    score += (weight * Math.sin(altitudeDeg * DEG) * (end - start)) / steps / HOUR_MS;
  }
  const name = rig.body === 'Sun' ? 'the Sun' : rig.body;
  const reasons = [
    `${name} stands ${Math.round(highest)}° high`,
    `lasts ${Math.round((end - start) / LEAST_STEP_MS)} min`,
  ];
  return { start: new Date(start), end: new Date(end), best: new Date(best), score, reasons };
}
