import { createPlane } from '../compute/image.js';
import { findShownLimb } from '../placement/shown-limb.js';
import type { CoverMap } from './cover-map.js';
import type { CommonDisc } from './missing.js';

/** The disc of the body in the common space, from the limb that the map of the coverage shows; null where it shows none. */
export function findDisc(map: CoverMap): CommonDisc | null {
  const { width, height, cellPx, x0, y0 } = map;
  const light = createPlane(width, height);
  light.data.set(map.light);
  const coverage = createPlane(width, height);
  for (let i = 0; i < coverage.data.length; i++) coverage.data[i] = map.frames[i]! > 0 ? 1 : 0;
  const limb = findShownLimb(light, coverage);
  if (!limb) return null;
  return {
    x: x0 + (limb.centreX + 0.5) * cellPx,
    y: y0 + (limb.centreY + 0.5) * cellPx,
    radiusPx: limb.radiusPx * cellPx,
  };
}
