import type { PlateSource } from '../plate/plate-source.js';
import type { PlateFeature } from '../plate/whereabouts.js';
import { DEG } from '../sky/angles.js';
import { sunAltitudeAtDeg } from '../sky/body-frame.js';
import { namedFeatures } from '../sky/features.js';
import { type BodyPose, bodyToPlate } from './body-pose.js';

/**
 * The named features whose centres lie on the plate and on the near side of the Moon, those nearest to the terminator
 * first. Where the Sun stands is not always known: then all count as lit, 90 degrees from the terminator.
 */
export function plateFeatures(pose: BodyPose, source: PlateSource): PlateFeature[] {
  const found: PlateFeature[] = [];
  for (const feature of namedFeatures()) {
    const { x, y, visible } = bodyToPlate(pose, feature);
    if (!visible || x < 0 || y < 0 || x > source.width - 1 || y > source.height - 1) continue;
    const sunAltitudeDeg = sunAltitudeAtDeg(pose.frame, feature);
    const terminatorDeg = Math.abs(sunAltitudeDeg);
    found.push({
      ...feature,
      x,
      y,
      lit: sunAltitudeDeg > 0,
      terminatorDeg,
      terminatorKm: terminatorDeg * DEG * pose.frame.radiusKm,
      covered: false,
    });
  }
  const covered = coveredAt(source, found);
  return found
    .map((feature, k) => ({ ...feature, covered: covered[k]! }))
    .sort((a, b) => a.terminatorDeg - b.terminatorDeg || (a.name < b.name ? -1 : 1));
}

/** Whether the nearest pixel of each place is covered. */
function coveredAt(source: PlateSource, places: readonly { readonly x: number; readonly y: number }[]): boolean[] {
  return places.map(({ x, y }) => {
    const window = source.read({ x0: Math.round(x), y0: Math.round(y), width: 1, height: 1 });
    return window.coverage.data[0]! > 0;
  });
}
