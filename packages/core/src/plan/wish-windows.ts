import { nearestName } from '../capture/settings-nearest.js';
import { UsageError } from '../job/errors.js';
import { signedDeg } from '../sky/angles.js';
import { type Ephemeris, ephemeris } from '../sky/ephemeris.js';
import { type NamedFeature, namedFeatures } from '../sky/features.js';
import { requireDate, requireRange } from '../sky/types.js';
import { type SkyWindow, windowsWhere } from '../sky/windows.js';
import { type Condition, conditionsOf, type SkyWish } from '../sky/wishes.js';
import { PLAN_DEFAULTS } from './plan-defaults.js';
import type { PlanWish, Rig } from './plan-options.js';

const DAY_MS = 86_400_000;
const LONGEST_DAYS = 400;

/** Throws {@link UsageError} for a span that cannot be searched. */
export function requireSpan(from: Date, to: Date): void {
  requireDate(from);
  requireDate(to);
  const days = (to.getTime() - from.getTime()) / DAY_MS;
  if (days > 0 && days <= LONGEST_DAYS) return;
  const [given, until] = [from.toISOString(), to.toISOString()];
  throw new UsageError(
    days > 0
      ? `the span is from ${given} to ${until}, ${Math.ceil(days)} days; give one of up to ${LONGEST_DAYS} days`
      : `from is ${given} and to is ${until}, which does not come later; give the earlier date as from`,
  );
}

/** The conditions of a wish. Throws {@link UsageError} for a wish that cannot be, or an unknown feature. */
export function wishConditions(rig: Rig, wish: PlanWish): readonly Condition[] {
  const { leastAltitudeDeg = PLAN_DEFAULTS.leastAltitudeDeg } = wish;
  requireRange('leastAltitudeDeg', leastAltitudeDeg, 0, 90);
  const sky = wish.sky ?? (rig.body === 'Sun' ? 'any' : 'dark');
  if (!['twilight', 'dark', 'any'].includes(sky)) {
    throw new UsageError(`sky is ${sky}; give "twilight", "dark" or "any"`);
  }
  const plain = { leastAltitudeDeg, ...(sky === 'any' ? {} : { sky }) };
  if (rig.body === 'Moon') return conditionsOf({ ...plain, ...moonWish(rig, wish) });
  requireNoMoon(rig, wish);
  return conditionsOf(plain, rig.body);
}

/** All windows in which the conditions of a wish hold, the best first. */
export function wishWindows(
  rig: Rig,
  conditions: readonly Condition[],
  from: Date,
  to: Date,
  { like }: PlanWish,
): readonly SkyWindow[] {
  const found = windowsWhere(conditions, from, to, rig);
  if (!like) return found;
  const then = ephemeris('Moon', like, rig.site);
  return found.map((window) => ({ ...window, reasons: [...window.reasons, libration(rig, window.best, then, like)] }));
}

/** The named feature that a wish means. Throws {@link UsageError} when there is none. */
export function featureCalled(name: string): NamedFeature {
  const features = namedFeatures();
  const found = features.find((feature) => feature.name.toLowerCase() === name.toLowerCase());
  if (found) return found;
  const near = nearestName(
    name,
    features.map((feature) => feature.name),
  );
  const hint = near === undefined ? '' : `; did you mean ${near}?`;
  throw new UsageError(`no named feature of the Moon from 15 km up is called ${name}${hint}`);
}

function moonWish(rig: Rig, wish: PlanWish): SkyWish {
  const { elongation, colongitude, feature, like } = wish;
  if (like && colongitude) {
    throw new UsageError(
      'both a colongitude and a date to be like are given; keep one: a date stands for its colongitude',
    );
  }
  const point = feature && featureCalled(feature.name);
  return {
    ...(elongation && { elongation }),
    ...(colongitude && { colongitude }),
    ...(like && { colongitude: lightLike(rig, like) }),
    ...(point && {
      nearTerminator: {
        name: point.name,
        point,
        withinDeg: feature.withinDeg ?? PLAN_DEFAULTS.terminatorWithinDeg,
      },
    }),
  };
}

function lightLike(rig: Rig, like: Date): { fromDeg: number; toDeg: number } {
  const { colongitudeDeg } = ephemeris('Moon', like, rig.site).terminator!;
  const { likeWithinDeg } = PLAN_DEFAULTS;
  return { fromDeg: colongitudeDeg - likeWithinDeg, toDeg: colongitudeDeg + likeWithinDeg };
}

function libration(rig: Rig, best: Date, then: Ephemeris, like: Date): string {
  const now = ephemeris('Moon', best, rig.site);
  const light = signedDeg(now.terminator!.colongitudeDeg - then.terminator!.colongitudeDeg);
  const east = signedDeg(now.frame!.subObserver.longitudeDeg - then.frame!.subObserver.longitudeDeg);
  const north = now.frame!.subObserver.latitudeDeg - then.frame!.subObserver.latitudeDeg;
  const apart = `${Math.abs(east).toFixed(1)}° in longitude, ${Math.abs(north).toFixed(1)}° in latitude`;
  return `against ${like.toISOString().slice(0, 10)}: colongitude ${light < 0 ? '-' : '+'}${Math.abs(light).toFixed(1)}°, libration differs by ${apart}`;
}

function requireNoMoon(rig: Rig, wish: PlanWish): void {
  for (const name of ['elongation', 'colongitude', 'feature', 'like'] as const) {
    if (wish[name] !== undefined) {
      throw new UsageError(`the wish has ${name}, which the Moon alone has; leave it out for ${rig.body}`);
    }
  }
}
