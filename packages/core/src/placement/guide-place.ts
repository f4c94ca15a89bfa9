import type { RecordedCurve } from '../capture/read-still.js';
import { readStill } from '../capture/read-still.js';
import {
  type Affine,
  applyX,
  applyY,
  compose,
  invert,
  poseAbout,
  rotationDegOf,
  translation,
} from '../compute/affine.js';
import { luminance } from '../compute/image.js';
import { defineTask, type Task } from '../compute/task.js';
import type { Masked } from '../registration/lock.js';
import { isCertain, searchSimilarity } from '../registration/pair-search.js';

/** Input of {@link guideTask}: a picture of the whole disc, and a strip in shared memory. */
export interface GuideInput {
  readonly path: string;
  readonly curve: RecordedCurve;
  readonly strip: Masked;
}

/** Where a strip lies on the guide. */
export interface GuideSighting {
  /** Strip px -> guide px: turn, scale and shift. */
  readonly pose: Affine;
  readonly scale: number;
  readonly significance: number;
}

/** Looks for a strip on a wide picture of the whole disc, in a worker. Null when it is not there for certain. */
export const guideTask: Task<GuideInput, GuideSighting | null> = defineTask('placement/guide');

/** Guide px per strip px: from a wide lens to the same telescope. */
const SCALES = [0.05, 1.5] as const;

export async function runGuide({ path, curve, strip }: GuideInput): Promise<GuideSighting | null> {
  const { image } = await readStill(path, { curve });
  const found = searchSimilarity({ light: luminance(image) }, strip, { rotationDeg: 'any', scale: SCALES });
  const best = found.find(isCertain);
  return best ? { pose: best.pose, scale: best.scale, significance: best.significance } : null;
}

/** A strip of a group that was seen on the guide: its pose in the group's space and its size. */
export interface SightedStrip {
  readonly sighting: GuideSighting | null;
  readonly pose: Affine;
  readonly widthPx: number;
  readonly heightPx: number;
}

/**
 * Common scale of all sightings: one telescope took the strips, so a strip that came out larger is wrong. Mean of the
 * logarithms by significance; undefined without a sighting.
 */
export function guideScale(sightings: readonly (GuideSighting | null)[]): number | undefined {
  let sum = 0;
  let weight = 0;
  for (const s of sightings) {
    if (!s) continue;
    sum += s.significance ** 2 * Math.log(s.scale);
    weight += s.significance ** 2;
  }
  return weight > 0 ? Math.exp(sum / weight) : undefined;
}

/** A group's space -> guide px in strip scale, by its best sighting; null when none of its strips was seen. */
export function groupOnGuide(strips: readonly SightedStrip[], scale: number): Affine | null {
  let best: SightedStrip | undefined;
  for (const s of strips) {
    if (s.sighting && (!best?.sighting || s.sighting.significance > best.sighting.significance)) best = s;
  }
  if (!best?.sighting) return null;
  const { pose } = best.sighting;
  const centre = { x: (best.widthPx - 1) / 2, y: (best.heightPx - 1) / 2 };
  // The strip's middle is seen best: turn and scale are taken about it, so that an error of theirs does not move it.
  const turn = poseAbout(centre, { shiftX: 0, shiftY: 0, rotationDeg: rotationDegOf(pose) });
  const seen = { x: applyX(pose, centre.x, centre.y) / scale, y: applyY(pose, centre.x, centre.y) / scale };
  return compose(compose(translation(seen.x - centre.x, seen.y - centre.y), turn), invert(best.pose));
}
