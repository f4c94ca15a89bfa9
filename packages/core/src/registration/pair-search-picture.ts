import { type Descriptor, describe } from '../compute/descriptor.js';
import { binPlane } from '../compute/downsample.js';
import { gaussianBlur } from '../compute/gaussian.js';
import { createPlane, type Plane } from '../compute/image.js';
import { findKeypoints, type Keypoint } from '../compute/keypoints.js';
import { erodeSquare, type Mask } from '../compute/morphology.js';
import { quantile } from '../compute/quantile.js';
import { shrinkArea } from '../compute/shrink.js';
import type { Masked } from './lock.js';

/** A picture made ready for {@link searchPrepared}: worth keeping when it is compared with several others. */
export interface SearchPicture {
  /** The part that shows ground, shrunk to the working size. Linear light. */
  readonly light: Plane;
  /** 1 where {@link light} is lit ground with data, 0 in the sky, in shadow and where there is none. */
  readonly ground: Plane;
  /** Place of working px on the picture: picture px = origin + working px · step. */
  readonly originX: number;
  readonly originY: number;
  readonly stepX: number;
  readonly stepY: number;
  /** Local features, in px of the picture. */
  readonly features: readonly Descriptor[];
}

/** The lit part of a picture is shrunk until its longer side is at most this. */
const WORKING_SIDE_PX = 1024;
/** The lit part is looked for on a picture of about this size. */
const OUTLINE_SIDE_PX = 512;
/** Ground is what is lit by more than this share of the picture's range. */
const GROUND_LEVEL = 0.04;
const MOST_FEATURES = 1500;
/** Features are drawn evenly from this many cells along the longer side. */
const CELLS = 8;
const SMALLEST_SIDE_PX = 24;
/** Features this close to where the coverage ends are left out, working px. */
const EDGE_PX = 8;

/**
 * Cuts out what is lit, shrinks it, marks the ground and finds and describes its local features (Lowe 2004,
 * doi:10.1023/B:VISI.0000029664.99615.94) on the square root of the light, as evenly spread as the ground allows.
 * A picture of nothing comes back without features.
 */
export function prepareSearchPicture(given: Masked): SearchPicture {
  const picture = cleaned(given);
  const box = litBox(picture);
  if (!box || Math.min(box.width, box.height) < SMALLEST_SIDE_PX) return NOTHING;
  const cut = crop(picture, box);
  const k = Math.max(1, Math.max(box.width, box.height) / WORKING_SIDE_PX);
  const width = Math.max(1, Math.floor(box.width / k));
  const height = Math.max(1, Math.floor(box.height / k));
  const light = shrinkArea(cut.light, width, height);
  const covered = cut.coverage && shrinkArea(cut.coverage, width, height);
  const levels = levelsOf(light, covered);
  const ground = groundOf(light, levels, covered);
  const stepX = box.width / width;
  const stepY = box.height / height;
  const originX = box.left + stepX / 2 - 0.5;
  const originY = box.top + stepY / 2 - 0.5;
  const points = findKeypoints(levelled(light, levels), Number.POSITIVE_INFINITY);
  const inside = covered && erodeSquare(maskOf(covered), 2 * EDGE_PX + 1);
  const usable = points.filter(({ x, y }) => {
    const i = Math.round(y) * width + Math.round(x);
    return ground.data[i]! > 0 && (!inside || inside.data[i] === 1);
  });
  const features = spread(usable, Math.max(width, height))
    .flatMap(describe)
    .map((d) => ({
      ...d,
      x: originX + d.x * stepX,
      y: originY + d.y * stepY,
      sigmaPx: d.sigmaPx * stepX,
    }))
    .sort((a, b) => a.sigmaPx - b.sigmaPx);
  return { light, ground, originX, originY, stepX, stepY, features };
}

const NOTHING: SearchPicture = {
  light: createPlane(0, 0),
  ground: createPlane(0, 0),
  originX: 0,
  originY: 0,
  stepX: 1,
  stepY: 1,
  features: [],
};

/** The same picture with a coverage of 1 and 0, and 0 in the place of light that is not covered or not finite. */
function cleaned({ light, coverage }: Masked): Masked {
  const { width, height } = light;
  if (!coverage && light.data.every(Number.isFinite)) return { light };
  const out = { light: createPlane(width, height), coverage: createPlane(width, height) };
  for (let i = 0; i < light.data.length; i++) {
    if (!Number.isFinite(light.data[i]!) || (coverage && !(coverage.data[i]! > 0.5))) continue;
    out.light.data[i] = light.data[i]!;
    out.coverage.data[i] = 1;
  }
  return out;
}

function maskOf({ width, height, data }: Plane): Mask {
  return { width, height, data: Uint8Array.from(data, (v) => (v >= 0.99 ? 1 : 0)) };
}

interface Box {
  readonly left: number;
  readonly top: number;
  readonly width: number;
  readonly height: number;
}

/** Box of the lit ground with a margin, px of the picture. */
function litBox(picture: Masked): Box | undefined {
  const { width, height } = picture.light;
  const factor = Math.max(1, Math.floor(Math.max(width, height) / OUTLINE_SIDE_PX));
  if (Math.min(width, height) < factor) return undefined;
  const light = binPlane(picture.light, factor);
  const covered = picture.coverage && binPlane(picture.coverage, factor);
  const ground = groundOf(light, levelsOf(light, covered), covered);
  let [left, top, right, bottom] = [light.width, light.height, -1, -1];
  for (let y = 0; y < light.height; y++) {
    for (let x = 0; x < light.width; x++) {
      if (ground.data[y * light.width + x] === 0) continue;
      left = Math.min(left, x);
      right = Math.max(right, x);
      top = Math.min(top, y);
      bottom = Math.max(bottom, y);
    }
  }
  if (right < left) return undefined;
  const margin = Math.ceil(0.03 * Math.max(right - left, bottom - top)) + 4;
  const x0 = Math.max(0, (left - margin) * factor);
  const y0 = Math.max(0, (top - margin) * factor);
  return {
    left: x0,
    top: y0,
    width: Math.min(width, (right + 1 + margin) * factor) - x0,
    height: Math.min(height, (bottom + 1 + margin) * factor) - y0,
  };
}

function crop(picture: Masked, box: Box): Masked {
  const cut = (plane: Plane): Plane => {
    const out = createPlane(box.width, box.height);
    for (let y = 0; y < box.height; y++) {
      const start = (box.top + y) * plane.width + box.left;
      out.data.set(plane.data.subarray(start, start + box.width), y * box.width);
    }
    return out;
  };
  return picture.coverage
    ? { light: cut(picture.light), coverage: cut(picture.coverage) }
    : { light: cut(picture.light) };
}

/** Darkest and brightest light that count, by quantiles that single hot pixels do not move. */
function levelsOf(light: Plane, covered: Plane | undefined): { dark: number; bright: number } {
  const step = Math.max(1, Math.floor(light.data.length / 40_000));
  const values: number[] = [];
  for (let i = 0; i < light.data.length; i += step) {
    if (!covered || covered.data[i]! >= 0.99) values.push(light.data[i]!);
  }
  return values.length === 0
    ? { dark: 0, bright: 0 }
    : { dark: quantile(values, 0.01), bright: quantile(values, 0.998) };
}

function groundOf(light: Plane, { dark, bright }: { dark: number; bright: number }, covered: Plane | undefined): Plane {
  const ground = createPlane(light.width, light.height);
  if (!(bright > dark)) return ground;
  const smooth = gaussianBlur(light, 1.5);
  const least = dark + GROUND_LEVEL * (bright - dark);
  for (let i = 0; i < ground.data.length; i++) {
    ground.data[i] = smooth.data[i]! > least && (!covered || covered.data[i]! >= 0.99) ? 1 : 0;
  }
  return ground;
}

/** Square root of the light between dark and bright, 0 to 1, so that shadows and highlands count alike. */
function levelled(light: Plane, { dark, bright }: { dark: number; bright: number }): Plane {
  const out = createPlane(light.width, light.height);
  for (let i = 0; i < out.data.length; i++) {
    out.data[i] = Math.sqrt(Math.max(0, Math.min(1, (light.data[i]! - dark) / (bright - dark))));
  }
  return out;
}

/** The strongest features of every cell in turn, so that a bright terminator does not take them all. */
function spread(points: readonly Keypoint[], sidePx: number): Keypoint[] {
  const cells = new Map<number, Keypoint[]>();
  for (const point of points) {
    const cell = Math.floor((point.y * CELLS) / sidePx) * CELLS + Math.floor((point.x * CELLS) / sidePx);
    const list = cells.get(cell);
    if (list) list.push(point);
    else cells.set(cell, [point]);
  }
  const chosen: Keypoint[] = [];
  for (let rank = 0; chosen.length < MOST_FEATURES; rank++) {
    const next = [...cells.values()].flatMap((list) => list.slice(rank, rank + 1));
    if (next.length === 0) break;
    chosen.push(...next.sort((a, b) => b.strength - a.strength).slice(0, MOST_FEATURES - chosen.length));
  }
  return chosen;
}
