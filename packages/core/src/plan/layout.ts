import { PLAN_DEFAULTS } from './plan-defaults.js';
import type { Rig } from './plan-options.js';
import { bendOf, breathOf, extentOf, type Standing, shearBetween } from './standing.js';

/** A pass in time, before it has its aim. */
export interface TimedPass {
  readonly standing: Standing;
  readonly startMs: number;
  readonly driftS: number;
  /** How far the leading limb stands before the frame at the start, arcseconds along the drift. */
  readonly leadArcsec: number;
}

/** The aims of passes that cover a disc. */
export interface Layout {
  /** Frame centre minus disc centre across the drift for each pass, arcseconds. */
  readonly aims: readonly number[];
  /** Overlap of each pass with the next as it is aimed, arcseconds. */
  readonly overlaps: readonly number[];
}

/** What the bands of some passes can cover, and what they have to, arcseconds across the drift. */
export interface Capacity {
  readonly coveredArcsec: number;
  readonly neededArcsec: number;
}

/** Sky to be covered beyond each limb, arcseconds. */
export function skyMarginArcsec(standing: Standing): number {
  return PLAN_DEFAULTS.skyMargin * standing.radiusArcsec;
}

/** Half of a pass's band that is covered wherever the aim errs, the path bends and the air goes on flattening, arcseconds. */
export function sureHalfArcsec({ standing, driftS }: TimedPass, rig: Rig): number {
  return standing.bandArcsec / 2 - rig.pointingErrorArcsec - bendOf(standing) - breathOf(standing, driftS);
}

/** By how much the sure bands of two neighbours have to overlap, arcseconds. */
export function seamArcsec(a: TimedPass, b: TimedPass, rig: Rig): number {
  return rig.overlap * Math.max(a.standing.sideArcsec, b.standing.sideArcsec) + shearBetween(a.standing, b.standing);
}

/** What passes can cover, in the order of their aims, and what has to be covered. */
export function capacityOf(passes: readonly TimedPass[], rig: Rig): Capacity {
  const [first, last] = [passes[0]!.standing, passes.at(-1)!.standing];
  const bands = passes.reduce((sum, pass) => sum + 2 * sureHalfArcsec(pass, rig), 0);
  const seams = passes.slice(1).reduce((sum, pass, k) => sum + seamArcsec(passes[k]!, pass, rig), 0);
  const needed = extentOf(last, 'across').most - extentOf(first, 'across').least;
  return {
    coveredArcsec: bands - seams,
    neededArcsec: needed + skyMarginArcsec(first) + skyMarginArcsec(last),
  };
}

/** Aims the passes, what they cover too much shared out evenly; null when they do not cover the disc. */
export function layOut(passes: readonly TimedPass[], rig: Rig): Layout | null {
  const { coveredArcsec, neededArcsec } = capacityOf(passes, rig);
  const share = (coveredArcsec - neededArcsec) / (passes.length + 1);
  if (!(share >= 0)) return null;
  const first = passes[0]!.standing;
  const aims: number[] = [];
  let lower = extentOf(first, 'across').least - skyMarginArcsec(first) - share;
  passes.forEach((pass, k) => {
    const half = sureHalfArcsec(pass, rig);
    aims.push(lower + half);
    const next = passes[k + 1];
    if (next) lower += 2 * half - seamArcsec(pass, next, rig) - share;
  });
  const overlaps = aims.slice(1).map((aim, k) => {
    const [a, b] = [passes[k]!.standing, passes[k + 1]!.standing];
    return aims[k]! + a.bandArcsec / 2 - (aim - b.bandArcsec / 2);
  });
  return { aims, overlaps };
}
