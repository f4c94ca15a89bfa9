import { UsageError } from '../job/errors.js';
import { ephemeris } from '../sky/ephemeris.js';
import { missedIn, type PlanMiss } from './missed.js';
import { momentIn } from './plan-clock.js';
import { type PlanOptions, type Rig, rigOf } from './plan-options.js';
import type { Plan, PlannedWindow, ShotList } from './plan-types.js';
import { shotList } from './shot-list.js';
import { merged, type SunWarning, sunWarningAt } from './sun-warning.js';
import { type FilledWindow, filledWindows, fitText } from './window-fit.js';
import { requireSpan, wishConditions, wishWindows } from './wish-windows.js';

/**
 * Which nights and hours to shoot, and with which passes: the windows in which a wish holds, the best first, and for one of
 * them the fewest passes that cover the whole disc across the drift with the wanted overlap and room for errors of aim. Times,
 * drift, rotation, refraction and extinction are those of the sky functions. Nothing is read, written or looked up.
 *
 * @returns plain data; `feasible` is false, with a `reason`, when there is no window or it cannot hold the passes
 * @throws UsageError for an option that is missing or cannot be
 */
export function plan(options: PlanOptions): Plan {
  const rig = rigOf(options);
  const { wish = {}, window: rank = 1 } = options;
  const { from, to } = options;
  requireSpan(from, to);
  const conditions = wishConditions(rig, wish);
  const found = wishWindows(rig, conditions, from, to, wish);
  const filled = filledWindows(rig, found);
  const windows = filled.map((one, k) => describe(rig, one, k + 1));
  const missed = found.length === 0 ? missedIn(rig, conditions, from, to) : null;
  const common = {
    body: rig.body,
    timeZone: rig.timeZone,
    windows,
    windowsFound: found.length,
    missed,
    assumptions: assumptionsOf(options, rig),
  };
  // The way to sweep differs from window to window: that of the chosen one comes first.
  const where = windows.length > 1 ? 'in some of the windows ' : '';
  const sunWith = (more: readonly (SunWarning | null)[]): SunWarning | null => {
    const chosen = merged([windows[rank - 1]?.sun ?? null, ...more]);
    const all = merged([chosen, ...windows.map((window) => window.sun)], where);
    return chosen?.causes.length === all?.causes.length ? chosen : all;
  };
  const sun = sunWith([]);
  const none = { ...common, feasible: false, shots: null, sun };
  if (missed) {
    // The Sun is warned of before any aim at it, found or not.
    const atSun = rig.body === 'Sun' ? sunWarningAt(rig, [from.getTime()]) : null;
    return { ...none, sun: atSun, neededPasses: null, reason: noWindow(missed) };
  }
  const chosen = filled[rank - 1];
  if (!chosen) {
    throw new UsageError(
      `window is ${rank}; give a whole number from 1 to ${windows.length}, the windows that are listed`,
    );
  }
  const { made } = chosen;
  if ('reason' in made) return { ...none, reason: made.reason, neededPasses: made.neededPasses };
  const shots = shotList(rig, made, rank, wish.feature?.name);
  const aimed = aimedAt(rig, shots);
  return {
    ...common,
    windows: windows.map((one) => (one.rank === rank ? { ...one, sun: merged([one.sun, ...aimed]) } : one)),
    feasible: true,
    reason: null,
    neededPasses: null,
    shots,
    sun: merged([sun, ...aimed]),
  };
}

/** What there is to mind at the ends of each pass: an aim may be nearer to the Sun than the body's centre. */
function aimedAt(rig: Rig, { passes }: ShotList): (SunWarning | null)[] {
  if (rig.body === 'Sun') return [];
  return passes.map(({ aim, start, end }) => sunWarningAt(rig, [Date.parse(start.utc), Date.parse(end.utc)], aim));
}

function describe(rig: Rig, { window, fit }: FilledWindow, rank: number): PlannedWindow {
  const [startMs, endMs, bestMs] = [window.start.getTime(), window.end.getTime(), window.best.getTime()];
  return {
    rank,
    start: momentIn(rig.timeZone, startMs),
    end: momentIn(rig.timeZone, endMs),
    best: momentIn(rig.timeZone, bestMs),
    score: window.score,
    illuminatedFraction: ephemeris(rig.body, window.best, rig.site).illuminatedFraction,
    reasons: fit ? [...window.reasons, fitText(fit)] : window.reasons,
    fit,
    sun: sunWarningAt(rig, [startMs, ...between(startMs, endMs), endMs]),
  };
}

/** Every ten minutes: the Sun may come up and go down within a window. */
function between(startMs: number, endMs: number): number[] {
  const step = 600_000;
  return Array.from({ length: Math.floor((endMs - startMs) / step) }, (_, k) => startMs + (k + 1) * step);
}

function noWindow({ conditions }: PlanMiss): string {
  const never = conditions.filter(({ heldMin }) => heldMin === 0);
  const why =
    never.length > 0
      ? `the span never has ${never.map(({ wished }) => wished).join(', nor ')}`
      : 'the span has all that is wished for, but never all at once';
  const kinds = new Set((never.length > 0 ? never : conditions).map(({ condition }) => condition));
  const ways = ['a longer span'];
  if (kinds.has('altitude')) ways.push('a lower altitude');
  if (kinds.has('sky')) ways.push('another sky (twilight, any)');
  if (kinds.has('elongation') || kinds.has('colongitude') || kinds.has('feature')) ways.push('a wider range');
  return `no window was found: ${why}; try ${ways.join(', or ')}`;
}

function assumptionsOf(options: PlanOptions, rig: Rig): string[] {
  const { site = {}, sensor = {} } = options;
  const assumed = ['an alt-azimuth head, so that the camera keeps its angle to the vertical from pass to pass'];
  if (site.heightM === undefined) assumed.push('a site at sea level');
  if (site.pressureHPa === undefined || site.temperatureC === undefined) {
    const { pressureHpa, temperatureC } = rig.air;
    assumed.push(
      `air of ${Math.round(pressureHpa)} hPa and ${Math.round(temperatureC)} °C, the standard at this height`,
    );
  }
  if (sensor.bitDepth === undefined) assumed.push(`${rig.bitDepth} bits a pixel, one sample each, without compression`);
  if (options.framesPerSecond === undefined) assumed.push(`${rig.framesPerSecond} frames per second`);
  if (options.pointingErrorArcsec === undefined) {
    assumed.push(`aims that are true to ${rig.pointingErrorArcsec}"`);
  }
  if (rig.body !== 'Moon' && rig.body !== 'Sun') assumed.push(`${rig.body} as a plain disc`);
  return assumed;
}
