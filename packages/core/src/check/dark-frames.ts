import { type Affine, applyX, applyY, compose } from '../compute/affine.js';
import type { TrackedPass } from '../registration/track-stage.js';
import type { CoverMap } from './cover-map.js';
import { brightLight, LIT } from './missing.js';

/** A frame of which less than this share is lit ground need not be recognised. */
const LEAST_LIT = 0.15;
/** Steps between the places that are looked at, shares of a side. */
const PLACES = 24;

/**
 * Frames of a pass that cannot be used and show hardly any lit ground where the pass's way puts them, by item: on the way in
 * and out, or beside the terminator. That they cannot be used is no loss. `place` maps strip px to those of the map.
 */
export function darkFrames({ graded, frames }: TrackedPass, place: Affine | null, map: CoverMap): Set<string> {
  const lost = graded.frames.filter(({ index }) => !frames.some((frame) => frame.index === index));
  const [first, last] = [frames[0], frames.at(-1)];
  if (!place || !first || !last || first === last) return new Set();
  const steps = last.index - first.index;
  const step = { x: (last.pose.tx - first.pose.tx) / steps, y: (last.pose.ty - first.pose.ty) / steps };
  const lit = LIT * brightLight(map);
  const isDark = (index: number): boolean => {
    const near = frames.reduce((best, one) =>
      Math.abs(one.index - index) < Math.abs(best.index - index) ? one : best,
    );
    const by = index - near.index;
    const pose = compose(place, { ...near.pose, tx: near.pose.tx + by * step.x, ty: near.pose.ty + by * step.y });
    return litShare(map, pose, near.proxy, lit) < LEAST_LIT;
  };
  return new Set(lost.filter(({ index }) => isDark(index)).map(({ item }) => item));
}

function litShare(
  map: CoverMap,
  pose: Affine,
  { width, height }: { width: number; height: number },
  lit: number,
): number {
  let count = 0;
  for (let v = 0.5; v < PLACES; v++) {
    for (let u = 0.5; u < PLACES; u++) {
      const [x, y] = [(u / PLACES) * width, (v / PLACES) * height];
      const column = Math.floor((applyX(pose, x, y) - map.x0) / map.cellPx);
      const row = Math.floor((applyY(pose, x, y) - map.y0) / map.cellPx);
      const isOn = column >= 0 && row >= 0 && column < map.width && row < map.height;
      if (isOn && map.light[row * map.width + column]! >= lit) count++;
    }
  }
  return count / PLACES ** 2;
}
