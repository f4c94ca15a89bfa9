import { CELL_PX } from '../blend/coarse-strip.js';
import { NOBODY, type Owners } from '../blend/seams.js';
import { type Affine, applyX, applyY } from '../compute/affine.js';

/** A place on the plate, plate px. */
export interface Place {
  readonly x: number;
  readonly y: number;
}

/**
 * Outline of all frames of a pass: the convex hull of their corners (Andrew's monotone chain), which is the strip where it
 * drifted one way.
 */
export function outlineOf(poses: readonly Affine[], widthPx: number, heightPx: number): Place[] {
  const corners = poses.flatMap((pose) =>
    [-0.5, widthPx - 0.5].flatMap((x) =>
      [-0.5, heightPx - 0.5].map((y) => ({ x: applyX(pose, x, y), y: applyY(pose, x, y) })),
    ),
  );
  corners.sort((a, b) => a.x - b.x || a.y - b.y);
  return [...halfHull(corners), ...halfHull(corners.reverse())];
}

function halfHull(places: readonly Place[]): Place[] {
  const hull: Place[] = [];
  for (const place of places) {
    while (hull.length > 1 && !turnsRight(hull.at(-2)!, hull.at(-1)!, place)) hull.pop();
    hull.push(place);
  }
  return hull.slice(0, -1);
}

function turnsRight(a: Place, b: Place, c: Place): boolean {
  return (b.x - a.x) * (c.y - a.y) - (b.y - a.y) * (c.x - a.x) > 0;
}

/** Middle of each frame on the plate. */
export function middlesOf(poses: readonly Affine[], widthPx: number, heightPx: number): Place[] {
  const [x, y] = [(widthPx - 1) / 2, (heightPx - 1) / 2];
  return poses.map((pose) => ({ x: applyX(pose, x, y), y: applyY(pose, x, y) }));
}

/** A stretch of a seam. */
export interface Stretch {
  readonly from: Place;
  readonly to: Place;
}

/** Where the plate goes from one pass to another: straight stretches along the cells, which stand on every 8th plate px. */
export function seamsOf({ box, label }: Owners): Stretch[] {
  const at = (u: number, v: number): number => label[v * box.width + u]!;
  const differ = (a: number, b: number): boolean => a !== b && a !== NOBODY && b !== NOBODY;
  const place = (u: number, v: number): Place => ({
    x: (u + box.x0 - 0.5) * CELL_PX,
    y: (v + box.y0 - 0.5) * CELL_PX,
  });
  const seams: Stretch[] = [];
  for (let v = 1; v < box.height; v++) {
    runs(
      box.width,
      (u) => differ(at(u, v - 1), at(u, v)),
      (first, end) => seams.push({ from: place(first, v), to: place(end, v) }),
    );
  }
  for (let u = 1; u < box.width; u++) {
    runs(
      box.height,
      (v) => differ(at(u - 1, v), at(u, v)),
      (first, end) => seams.push({ from: place(u, first), to: place(u, end) }),
    );
  }
  return seams;
}

function runs(count: number, isIn: (k: number) => boolean, add: (first: number, end: number) => void): void {
  let first = -1;
  for (let k = 0; k <= count; k++) {
    const inside = k < count && isIn(k);
    if (inside && first < 0) first = k;
    if (inside || first < 0) continue;
    add(first, k);
    first = -1;
  }
}
