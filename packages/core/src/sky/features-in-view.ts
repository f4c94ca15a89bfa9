import { DEG } from './angles.js';
import { bodyToSky, type PlacedPoint, sunAltitudeAtDeg } from './body-frame.js';
import { ephemeris } from './ephemeris.js';
import { type NamedFeature, namedFeatures } from './features.js';
import { requireRange, type Site } from './types.js';

/** A named feature on the near side of the limb; its place on the sky (space 5) is that without air. */
export interface FeatureInView extends NamedFeature, PlacedPoint {
  /** Whether the Sun's centre is over the level horizon there. */
  readonly lit: boolean;
  /** Altitude of the Sun's centre over the level horizon there. */
  readonly sunAltitudeDeg: number;
  /** Along the ground to the terminator on the mean sphere. */
  readonly terminatorDeg: number;
  readonly terminatorKm: number;
}

/**
 * The Moon's named features whose centres are seen from a site at a date, those nearest to the terminator first. Features
 * smaller than `leastDiameterKm` (15 unless said otherwise; no smaller one has a place in the table) are left out. The
 * Moon itself may be below the horizon. Throws `UsageError` when the date or site is out of range.
 */
export function featuresInView(date: Date, site: Site, leastDiameterKm = 15): readonly FeatureInView[] {
  requireRange('leastDiameterKm', leastDiameterKm, 0, 1e4);
  const frame = ephemeris('Moon', date, site).frame!;
  const found: FeatureInView[] = [];
  for (const feature of namedFeatures()) {
    if (feature.diameterKm < leastDiameterKm) continue;
    const place = bodyToSky(frame, feature);
    if (!place.visible) continue;
    const sunAltitudeDeg = sunAltitudeAtDeg(frame, feature);
    const terminatorDeg = Math.abs(sunAltitudeDeg);
    const terminatorKm = terminatorDeg * DEG * frame.radiusKm;
    const lit = sunAltitudeDeg > 0;
    found.push({ ...feature, ...place, lit, sunAltitudeDeg, terminatorDeg, terminatorKm });
  }
  return found.sort((a, b) => a.terminatorDeg - b.terminatorDeg);
}
