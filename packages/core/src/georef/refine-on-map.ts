import type { BodyPoint } from '../sky/types.js';
import type { AlbedoMap } from './albedo-map.js';
import { fitPose, type PoseFit, type PosePrior } from './fit-pose.js';
import { mapShifts } from './map-patches.js';
import type { PosedDisc } from './posed-disc.js';
import type { RoundView } from './round-view.js';
import { withoutSunward } from './sunward.js';

/** How far patches may be off in each round, px of the view. */
const REACHES_PX = [8, 4, 3];
/** Fewer patches that agree tell nothing. */
const LEAST_PATCHES = 12;

/** Fits a pose to a map in rounds, each laying the map anew. Null where too few patches are like it. */
export function refineOnMap(
  view: RoundView,
  start: PosedDisc,
  map: AlbedoMap,
  sun: BodyPoint | null,
  prior: PosePrior,
): PoseFit | null {
  let fit: PoseFit | null = null;
  for (const reach of REACHES_PX) {
    const pose: PosedDisc = fit?.pose ?? start;
    const shifts = mapShifts(view, pose, map, reach);
    fit = fitPose(pose, sun ? withoutSunward(shifts, pose, sun) : shifts, prior);
    if (!fit || fit.used < LEAST_PATCHES) return null;
  }
  return fit;
}
