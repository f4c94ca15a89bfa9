import type { Plane } from '../compute/image.js';
import { type FindLimbOptions, findLimb, type LimbFit } from './limb.js';

/** Where the brightest light is laid, so that nothing looks clipped. */
const HEADROOM = 0.4;

/**
 * {@link findLimb} in light of any scale, such as that of a plate or of a drawing of what is covered: there a value above 1
 * does not say that the sensor was full. Null where nothing shines.
 */
export function findShownLimb(light: Plane, coverage?: Plane, options: FindLimbOptions = {}): LimbFit | null {
  let brightest = 0;
  for (const value of light.data) if (value > brightest) brightest = value;
  if (!(brightest > 0 && brightest < Number.POSITIVE_INFINITY)) return null;
  const scale = HEADROOM / brightest;
  return findLimb({ ...light, data: light.data.map((value) => value * scale) }, coverage, options);
}
