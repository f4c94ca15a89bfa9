import type { Plane } from '../compute/image.js';
import { quantile } from '../compute/quantile.js';
import type { Disc } from './fit-disc.js';
import { gatherSectors, steepest } from './limb-profile.js';
import { fitStep, type RadialProfile, type StepFit } from './step-profile.js';

/** What was measured along a circle. */
export interface Measured {
  readonly places: readonly Place[];
  /** Indices of all places at which there is data. */
  readonly tried: readonly number[];
  /** Angle between places, radians. */
  readonly spacing: number;
}

/** A step that was fitted somewhere along the circle. */
export interface Place {
  /** Along the circle. */
  readonly index: number;
  readonly angle: number;
  readonly profile: RadialProfile;
  readonly fit: StepFit;
}

/** Steps across the lit limb at evenly spaced places of the circle, and at which of them there was data. */
export function measureLimb(
  light: Plane,
  coverage: Plane | undefined,
  disc: Disc,
  reach: number,
  preparing: boolean,
): Measured {
  const range = visibleArc(light, disc);
  const length = range.extent * disc.radiusPx;
  const count = Math.max(1, Math.min(preparing ? PREPARING_PLACES : MOST_PLACES, Math.floor(length / PLACE_PX)));
  const spacing = range.extent / count;
  const insidePx = Math.min(reach, disc.radiusPx / 2);
  const sectors = gatherSectors(light, coverage, disc, {
    from: range.from,
    spacing,
    count,
    insidePx,
    outsidePx: reach,
  });
  const places: Place[] = [];
  const tried: number[] = [];
  sectors.forEach(({ profile, clipped, complete }, index) => {
    if (complete < LEAST_COMPLETE) return;
    tried.push(index);
    if (clipped > MOST_CLIPPED) return;
    const offsetPx = steepest(profile, Math.max(4, reach / 4));
    if (offsetPx === undefined) return;
    const fit = fitStep(profile, { offsetPx, blurPx: 1.5, shading: 0 });
    const angle = range.from + (index + 0.5) * spacing;
    if (fit && Math.abs(fit.offsetPx) < 0.8 * reach) places.push({ index, angle, profile, fit });
  });
  return { places: lit(places), tried, spacing };
}

/** Shortest length of a place, px. */
const PLACE_PX = 11;
/** Least share of the pixels of a place, on either side of the edge, that must be data. */
const LEAST_COMPLETE = 0.4;

/** Places along the circle, and for the rounds that only prepare the last. */
const MOST_PLACES = 400;
const PREPARING_PLACES = 160;

/** Share of the pixels inside at the clipping point, above which a place is not believed. */
const MOST_CLIPPED = 0.3;

/** Drops places where the step is faint (dark limb, deep shadow) or much more gradual than elsewhere (terminator). */
function lit(places: readonly Place[]): Place[] {
  if (places.length === 0) return [];
  const steps = places.map((p) => p.fit.step).sort((a, b) => a - b);
  const bright = steps[Math.floor(0.75 * steps.length)]!;
  const kept = places.filter((p) => p.fit.step > 0.25 * bright && p.fit.step > 4 * Math.sqrt(levelNoise(p)));
  const blur = quantile(
    kept.map((p) => p.fit.blurPx),
    0.5,
  );
  return kept.filter((p) => p.fit.blurPx < 2.2 * blur);
}

/** Variance of the step's level, roughly, from that of its position. */
function levelNoise({ fit }: Place): number {
  return fit.variance * (fit.step / (2.5 * fit.blurPx)) ** 2;
}

/**
 * Fits the steps again with the blur that all agree on. Each gets the median variance and shading of its neighbours: its
 * own variance is small when noise happens to make the step steep, and would favour errors of one sign.
 */
export function settle(places: readonly Place[]): Place[] {
  const blurPx = quantile(
    places.map((p) => p.fit.blurPx),
    0.5,
  );
  const around = (all: readonly Place[], k: number): readonly Place[] =>
    all.slice(Math.max(0, k - NEIGHBOURS), k + NEIGHBOURS + 1);
  const settled = places.flatMap((p, k) => {
    const shading = quantile(
      around(places, k).map((n) => n.fit.shading),
      0.5,
    );
    const fit = fitStep(p.profile, { offsetPx: p.fit.offsetPx, blurPx, shading, holdBlur: true });
    return fit ? [{ ...p, fit }] : [];
  });
  return settled.map((p, k) => {
    const near = around(settled, k).map((n) => n.fit);
    const fit = {
      ...p.fit,
      variance: quantile(
        near.map((f) => f.variance),
        0.5,
      ),
      shading: quantile(
        near.map((f) => f.shading),
        0.5,
      ),
    };
    return { ...p, fit };
  });
}

/** Places to either side that a median is taken over. */
const NEIGHBOURS = 7;

/** Angles at which the circle lies inside the picture; the whole circle when all of it does. */
function visibleArc(light: Plane, disc: Disc): { from: number; extent: number } {
  const steps = 4096;
  const inside = (k: number): boolean => {
    const angle = (2 * Math.PI * k) / steps;
    const x = disc.centreX + disc.radiusPx * Math.cos(angle);
    const y = disc.centreY + disc.radiusPx * disc.stretch * Math.sin(angle);
    return x > -0.5 && y > -0.5 && x < light.width - 0.5 && y < light.height - 0.5;
  };
  const seen = Array.from({ length: steps }, (_, k) => inside(k));
  // The longest run of angles out of sight, around the circle, is left out.
  let longest = 0;
  let after = 0;
  let run = 0;
  for (let k = 0; k < 2 * steps; k++) {
    run = seen[k % steps] ? 0 : run + 1;
    if (run > longest && run <= steps) {
      longest = run;
      after = (k + 1) % steps;
    }
  }
  return { from: (2 * Math.PI * after) / steps, extent: (2 * Math.PI * (steps - longest)) / steps };
}
