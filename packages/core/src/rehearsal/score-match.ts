import { DESCRIPTOR_LENGTH, type Descriptor, describe, dotAt } from '../compute/descriptor.js';
import { createPlane, type Plane } from '../compute/image.js';
import { findKeypoints } from '../compute/keypoints.js';
import { quantile } from '../compute/quantile.js';
import { findSimilarity } from '../compute/robust-similarity.js';
import { shrinkArea } from '../compute/shrink.js';
import type { PointPair, Similarity } from '../compute/similarity.js';

/** Both pictures are shrunk until their longer side is at most this. */
const SEARCH_SIDE_PX = 1600;
const MOST_KEYPOINTS = 1500;
/** A match counts when its distance is below this share of the second best one's. */
const DISTANCE_RATIO = 0.8;
/** Matches agree when they differ by less than this, px of the shrunk scene. */
const AGREEMENT_PX = 4;
/** Chance lets about three matches agree; eight never in practice. */
const LEAST_AGREEING = 8;
/** The plate may be drawn from 10 times smaller to 10 times larger than the scene. */
const SCALE_LIMIT = 10;

/**
 * Where the plate lies on the scene, plate px to scene px, to about a pixel or two: by matching keypoints, for any
 * rotation and shift, and for plates that show a part only. Undefined when they do not match; a mirrored plate does not.
 */
export function matchPlate(plate: Plane, scene: Plane): Similarity | undefined {
  const from = descriptorsOf(plate);
  const to = descriptorsOf(scene);
  const pairs = matches(from, to);
  if (pairs.length < LEAST_AGREEING) return undefined;
  const shrunkBy = Math.min(1, SEARCH_SIDE_PX / Math.max(scene.width, scene.height));
  const found = findSimilarity(pairs, AGREEMENT_PX / shrunkBy, 1 / SCALE_LIMIT, SCALE_LIMIT);
  if (!found || placesOf(found.inliers.map((i) => pairs[i]!)) < LEAST_AGREEING) return undefined;
  return found.map;
}

/** Different places among the pairs: several descriptors of one keypoint count once. */
function placesOf(pairs: readonly PointPair[]): number {
  const from = new Set(pairs.map((p) => `${p.fromX} ${p.fromY}`));
  const to = new Set(pairs.map((p) => `${p.toX} ${p.toY}`));
  return Math.min(from.size, to.size);
}

/** Descriptors with their places in px of the picture given. */
function descriptorsOf(picture: Plane): Descriptor[] {
  const k = Math.min(1, SEARCH_SIDE_PX / Math.max(picture.width, picture.height));
  const width = Math.max(1, Math.round(picture.width * k));
  const height = Math.max(1, Math.round(picture.height * k));
  const small = levelled(shrinkArea(picture, width, height));
  return findKeypoints(small, MOST_KEYPOINTS)
    .flatMap(describe)
    .map((d) => ({
      ...d,
      x: ((d.x + 0.5) * picture.width) / width - 0.5,
      y: ((d.y + 0.5) * picture.height) / height - 0.5,
      sigmaPx: (d.sigmaPx * picture.width) / width,
    }));
}

/** Square root of the light over its bright level, 0 to 1, so that shadows and highlands count alike. */
function levelled(light: Plane): Plane {
  let highest = 0;
  for (const v of light.data) if (v > highest) highest = v;
  const bright = quantile(
    light.data.filter((v) => v > 0.02 * highest),
    0.995,
  );
  const out = createPlane(light.width, light.height);
  if (!(bright > 0)) return out;
  for (let i = 0; i < out.data.length; i++) out.data[i] = Math.sqrt(Math.max(0, Math.min(1, light.data[i]! / bright)));
  return out;
}

/** Each plate descriptor's nearest scene descriptor, where it is clearly nearer than the second nearest. */
function matches(from: readonly Descriptor[], to: readonly Descriptor[]): PointPair[] {
  const all = new Float32Array(to.length * DESCRIPTOR_LENGTH);
  for (const [i, d] of to.entries()) all.set(d.values, i * DESCRIPTOR_LENGTH);
  const pairs: PointPair[] = [];
  for (const { x, y, values } of from) {
    let best = -1;
    let bestDot = -1;
    let secondDot = -1;
    for (let i = 0; i < to.length; i++) {
      const dot = dotAt(values, all, i * DESCRIPTOR_LENGTH);
      if (dot > bestDot) {
        secondDot = bestDot;
        bestDot = dot;
        best = i;
      } else if (dot > secondDot) secondDot = dot;
    }
    const target = to[best];
    // Squared distance of unit vectors: 2 − 2·dot.
    if (target && 1 - bestDot < DISTANCE_RATIO * DISTANCE_RATIO * (1 - secondDot))
      pairs.push({ fromX: x, fromY: y, toX: target.x, toY: target.y });
  }
  return pairs;
}
