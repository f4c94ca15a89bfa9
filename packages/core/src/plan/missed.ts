import { ephemeris } from '../sky/ephemeris.js';
import type { Condition, ConditionKind } from '../sky/wishes.js';
import { momentIn, type PlanMoment } from './plan-clock.js';
import type { Rig } from './plan-options.js';

/** One condition of a wish, over a span in which they never held together. */
export interface MissedCondition {
  readonly condition: ConditionKind;
  /** What was wished for, in plain words. */
  readonly wished: string;
  /** For how long of the span it held, whatever the others did, minutes; 0 when it never did. */
  readonly heldMin: number;
  /** When it held best, or came nearest to it. */
  readonly best: PlanMoment;
  /** What the sky offers then, in plain words. */
  readonly figure: string;
  /** By how many degrees it is missed then; 0 when it holds. */
  readonly missedByDeg: number;
}

/** How near a span came to a wish that never held in it. */
export interface PlanMiss {
  readonly conditions: readonly MissedCondition[];
  /** The moment at which the condition that is farthest from holding is nearest to it, and what the sky offers then. */
  readonly nearest: { readonly moment: PlanMoment; readonly figures: readonly string[] };
}

const MINUTE_MS = 60_000;
/** The span is looked at so many times, or more often in long ones. */
const STEPS = 4000;
const LONGEST_STEP_MS = 20 * MINUTE_MS;

/** Margins of a moment, degrees, one for each condition. */
interface Sample {
  readonly atMs: number;
  readonly margins: readonly number[];
}

/** What each condition made of a span, and where all together came nearest. */
export function missedIn(rig: Rig, conditions: readonly Condition[], from: Date, to: Date): PlanMiss {
  const [startMs, endMs] = [from.getTime(), to.getTime()];
  const steps = Math.max(STEPS, Math.ceil((endMs - startMs) / LONGEST_STEP_MS));
  const stepMs = (endMs - startMs) / steps;
  const marginsAt = (atMs: number): readonly number[] => {
    const date = new Date(atMs);
    const body = ephemeris(rig.body, date, rig.site);
    return conditions.map(({ marginDeg }) => marginDeg(body, date));
  };
  const samples = Array.from({ length: steps + 1 }, (_, k): Sample => {
    const atMs = Math.min(endMs, Math.round(startMs + k * stepMs));
    return { atMs, margins: marginsAt(atMs) };
  });
  /** The moment at which a figure of the margins is largest: the best sample, then between its neighbours. */
  const bestOf = (worth: (margins: readonly number[]) => number): number => {
    const best = samples.reduce((one, other) => (worth(other.margins) > worth(one.margins) ? other : one)).atMs;
    const [left, right] = [Math.max(startMs, best - stepMs), Math.min(endMs, best + stepMs)];
    return largestAt((atMs) => worth(marginsAt(atMs)), left, right);
  };
  const figureAt = ({ figure }: Condition, atMs: number): string => {
    const date = new Date(atMs);
    return figure(ephemeris(rig.body, date, rig.site), date);
  };
  const inHours = (margins: readonly number[]): number =>
    Math.min(...margins.map((margin, k) => margin / conditions[k]!.fastestDegPerHour));
  const nearestMs = bestOf(inHours);
  return {
    conditions: conditions.map((condition, k) => {
      const best = bestOf((margins) => margins[k]!);
      const marginDeg = marginsAt(best)[k]!;
      const held = Math.round(heldMs(samples, k) / MINUTE_MS);
      return {
        condition: condition.kind,
        wished: condition.wished,
        // What holds between two looks alone has held for a moment.
        heldMin: marginDeg >= 0 ? Math.max(1, held) : held,
        best: momentIn(rig.timeZone, best),
        figure: figureAt(condition, best),
        missedByDeg: Math.max(0, -marginDeg),
      };
    }),
    nearest: {
      moment: momentIn(rig.timeZone, nearestMs),
      figures: conditions.map((condition) => figureAt(condition, nearestMs)),
    },
  };
}

/** Time with a margin of 0 or more, which is taken for a straight line from look to look. */
function heldMs(samples: readonly Sample[], k: number): number {
  return samples.slice(1).reduce((sum, { atMs, margins }, before) => {
    const [last, now] = [samples[before]!.margins[k]!, margins[k]!];
    const spanMs = atMs - samples[before]!.atMs;
    if (last >= 0 && now >= 0) return sum + spanMs;
    if (last < 0 && now < 0) return sum;
    return sum + (spanMs * Math.max(last, now)) / Math.abs(last - now);
  }, 0);
}

/** Where a function with one top is largest, by golden sections, to a second. */
function largestAt(of: (at: number) => number, left: number, right: number): number {
  const share = (Math.sqrt(5) - 1) / 2;
  let [a, b] = [left, right];
  while (b - a > 1000) {
    const [lower, upper] = [b - share * (b - a), a + share * (b - a)];
    if (of(lower) >= of(upper)) b = upper;
    else a = lower;
  }
  return Math.round((a + b) / 2);
}
