import type { FeatureKind } from './features.js';

/**
 * What `near the terminator` means wherever it is said, of a wish, a plate or a pack: in the light, the Sun's centre at most
 * so many degrees above the level horizon. That is what the Sun climbs there in a day; shadows are five times as long as
 * what casts them, or longer.
 */
export const NEAR_TERMINATOR_DEG = 12;

/** Named features that are smaller do not stand out on a view of the whole disc, km across. */
export const STANDS_OUT_KM = 40;

/** A named feature in its light. */
export interface FeatureInLight {
  readonly kind: FeatureKind;
  readonly diameterKm: number;
  /** Whether the Sun's centre is over the level horizon there. */
  readonly lit: boolean;
  /** Along the ground to the terminator, degrees: the altitude of the Sun, whatever its sign. */
  readonly terminatorDeg: number;
}

/**
 * The features that cast long shadows: those near the terminator ({@link NEAR_TERMINATOR_DEG}) that stand out, save for
 * plains, and for rilles and ridges, which are too low. The largest come first.
 */
export function reliefNearTerminator<F extends FeatureInLight>(features: readonly F[]): F[] {
  const near = features.filter(
    ({ kind, diameterKm, lit, terminatorDeg }) =>
      lit && terminatorDeg <= NEAR_TERMINATOR_DEG && RELIEF.has(kind) && diameterKm >= STANDS_OUT_KM,
  );
  return near.sort((a, b) => b.diameterKm - a.diameterKm);
}

const RELIEF: ReadonlySet<FeatureKind> = new Set(['crater', 'mons', 'montes', 'vallis', 'rupes', 'promontorium']);
