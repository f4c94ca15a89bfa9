import { type Affine, applyX, applyY, compose, IDENTITY, invert } from '../compute/affine.js';
import { correlationFromSums } from '../compute/correlation.js';
import { binPlane } from '../compute/downsample.js';
import { createPlane, type Plane } from '../compute/image.js';
import { erodeSquare } from '../compute/morphology.js';
import { bilinearAt, cubicAt } from '../compute/sample.js';
import { ALIGN_DEFAULTS, alignPair } from './align.js';
import { bandPass } from './band-pass.js';
import type { SearchPicture } from './pair-search-picture.js';

/** How alike the detail of two pictures is on their common ground, at one scale. */
export interface BandCheck {
  /** Normalised correlation, −1..1. */
  readonly correlation: number;
  /** Independent samples that it rests on. */
  readonly samples: number;
}

/** What the pictures themselves say about a pose. */
export interface PoseCheck {
  /** Moving px -> fixed px, after least squares on the detail of the common ground. */
  readonly pose: Affine;
  /** From the finest scale to the coarsest. */
  readonly bands: readonly BandCheck[];
  /** Common ground as a share of the smaller picture's ground. */
  readonly overlap: number;
}

/** The common ground is compared on a grid of at most about this many px², and on grids this much coarser. */
const GRID_AREA_PX2 = 160_000;
const COARSENESS = [1, 2, 4] as const;
/** The detail that is compared, px of each grid. */
const BAND = { fineSigmaPx: 1, coarseSigmaPx: 6 } as const;
/** Ground this close to sky or shadow is left out, px of the grid: a limb fits itself under many poses. */
const SHORE_PX = 3;
/** Area over which such detail is alike, grid px². */
const INDEPENDENT_AREA_PX2 = 16;
const SMALLEST_GRID_PX = 12;
/** Pictures that are less alike than this on enough samples, before and after least squares, have nothing in common. */
const LEAST_CORRELATION = 0.2;
const ENOUGH_SAMPLES = 1500;
/** Least squares that lose more correlation than a change of samples explains are not followed. */
const WORSE = 0.01;
/** Least squares that change the scale by more than this factor have run away, as they may on few samples. */
const MOST_GROWTH = 1.1;

/**
 * Draws a pose (moving px -> fixed px, right to a few px) in by least squares on ever finer grids, and compares the two
 * pictures there. Undefined when they share too little ground or are not alike anywhere near.
 */
export function checkPose(fixed: SearchPicture, moving: SearchPicture, initial: Affine): PoseCheck | undefined {
  let pose = initial;
  for (const coarseness of COARSENESS.toReversed()) {
    const grid = gridOf(fixed, moving, pose, coarseness);
    if (!grid) continue;
    const both = commonDetail(fixed, moving, pose, grid).details;
    const settings = { ...ALIGN_DEFAULTS, freedom: 'similarity', stridePx: coarseness === 1 ? 2 : 1 } as const;
    const asItWas = alignPair(...both, IDENTITY, { ...settings, maxIterations: 0 });
    const aligned = alignPair(...both, IDENTITY, settings);
    if (!asItWas || !aligned) continue;
    const correlation = Math.max(asItWas.correlation, aligned.correlation);
    if (correlation < LEAST_CORRELATION && asItWas.samples >= ENOUGH_SAMPLES) return undefined;
    const grown = Math.hypot(aligned.pose.xx, aligned.pose.yx);
    if (aligned.correlation < correlation - WORSE || grown > MOST_GROWTH || grown < 1 / MOST_GROWTH) continue;
    pose = compose(compose(grid.toFixed, compose(aligned.pose, invert(grid.toFixed))), pose);
  }
  return compared(fixed, moving, pose);
}

/** A grid over the box that both pictures cover. */
interface Grid {
  readonly width: number;
  readonly height: number;
  /** Grid px -> fixed px. */
  readonly toFixed: Affine;
}

function coarseToFine(factor: number): Affine {
  return { xx: factor, xy: 0, yx: 0, yy: factor, tx: (factor - 1) / 2, ty: (factor - 1) / 2 };
}

/** No finer than either picture. Undefined when the two hardly meet. */
function gridOf(fixed: SearchPicture, moving: SearchPicture, pose: Affine, coarseness: number): Grid | undefined {
  const mine = corners(fixed);
  const theirs = corners(moving).map(([x, y]) => [applyX(pose, x, y), applyY(pose, x, y)] as const);
  const [left, right] = sharedSpan(mine, theirs, 0);
  const [top, bottom] = sharedSpan(mine, theirs, 1);
  if (!(right > left && bottom > top)) return undefined;
  const finest = Math.max(fixed.stepX, moving.stepX * Math.hypot(pose.xx, pose.yx));
  const step = coarseness * Math.max(finest, Math.sqrt(((right - left) * (bottom - top)) / GRID_AREA_PX2));
  const width = Math.floor((right - left) / step);
  const height = Math.floor((bottom - top) / step);
  if (Math.min(width, height) < SMALLEST_GRID_PX) return undefined;
  return { width, height, toFixed: { xx: step, xy: 0, yx: 0, yy: step, tx: left + step / 2, ty: top + step / 2 } };
}

type Point = readonly [number, number];

function corners(p: SearchPicture): Point[] {
  const right = p.originX + (p.light.width - 1) * p.stepX;
  const bottom = p.originY + (p.light.height - 1) * p.stepY;
  return [
    [p.originX, p.originY],
    [right, p.originY],
    [right, bottom],
    [p.originX, bottom],
  ];
}

function sharedSpan(a: readonly Point[], b: readonly Point[], axis: 0 | 1): readonly [number, number] {
  const mine = a.map((p) => p[axis]);
  const theirs = b.map((p) => p[axis]);
  return [Math.max(Math.min(...mine), Math.min(...theirs)), Math.min(Math.max(...mine), Math.max(...theirs))];
}

interface Sampled {
  readonly light: Plane;
  /** 1 where the picture shows ground. */
  readonly ground: Plane;
}

/** The picture on the grid; `toPicture` maps grid px to px of the picture. */
function sampled(picture: SearchPicture, toPicture: Affine, grid: Grid): Sampled {
  const ratio = Math.hypot(toPicture.xx, toPicture.yx) / picture.stepX;
  const factor = Math.max(1, Math.min(Math.floor(ratio * 1.25), picture.light.width >> 2, picture.light.height >> 2));
  const light = factor === 1 ? picture.light : binPlane(picture.light, factor);
  const ground = factor === 1 ? picture.ground : binPlane(picture.ground, factor);
  const toWorking: Affine = {
    xx: 1 / picture.stepX,
    xy: 0,
    yx: 0,
    yy: 1 / picture.stepY,
    tx: -picture.originX / picture.stepX,
    ty: -picture.originY / picture.stepY,
  };
  const map = compose(invert(coarseToFine(factor)), compose(toWorking, toPicture));
  const out = { light: createPlane(grid.width, grid.height), ground: createPlane(grid.width, grid.height) };
  const { width, height } = light;
  for (let y = 0; y < grid.height; y++) {
    for (let x = 0; x < grid.width; x++) {
      const u = applyX(map, x, y);
      const v = applyY(map, x, y);
      if (u < 0 || v < 0 || u > width - 1 || v > height - 1) continue;
      const i = y * grid.width + x;
      out.light.data[i] = cubicAt(light.data, width, height, u, v);
      out.ground.data[i] = bilinearAt(ground.data, width, height, u, v) > 0.7 ? 1 : 0;
    }
  }
  return out;
}

function compared(fixed: SearchPicture, moving: SearchPicture, pose: Affine): PoseCheck | undefined {
  const bands: BandCheck[] = [];
  let commonPx2 = 0;
  for (const coarseness of COARSENESS) {
    const grid = gridOf(fixed, moving, pose, coarseness);
    if (!grid) break;
    const { common, details } = commonDetail(fixed, moving, pose, grid);
    if (coarseness === 1) commonPx2 = total(common) * grid.toFixed.xx ** 2;
    bands.push(correlationWithin(details[0].detail, details[1].detail, details[0].coverage));
  }
  if (bands.length === 0) return undefined;
  const smaller = Math.min(groundPx2(fixed), groundPx2(moving) * (pose.xx ** 2 + pose.yx ** 2));
  return { pose, bands, overlap: commonPx2 / smaller };
}

/** Both pictures' detail within the ground that they share at the pose, and that ground before its shore is left out. */
function commonDetail(fixed: SearchPicture, moving: SearchPicture, pose: Affine, grid: Grid) {
  const a = sampled(fixed, grid.toFixed, grid);
  const b = sampled(moving, compose(invert(pose), grid.toFixed), grid);
  const common = createPlane(grid.width, grid.height);
  for (let i = 0; i < common.data.length; i++) common.data[i] = a.ground.data[i]! * b.ground.data[i]!;
  const inland = erodeSquare(
    { width: grid.width, height: grid.height, data: Uint8Array.from(common.data) },
    2 * SHORE_PX + 1,
  );
  const coverage = { width: grid.width, height: grid.height, data: Float32Array.from(inland.data) };
  const detailOf = (light: Plane) => ({ detail: bandPass(light, BAND, coverage), coverage });
  return { common, details: [detailOf(a.light), detailOf(b.light)] as const };
}

/** Ground of the picture, px² of the picture. */
function groundPx2(picture: SearchPicture): number {
  return total(picture.ground) * picture.stepX * picture.stepY;
}

function total(plane: Plane): number {
  let sum = 0;
  for (const v of plane.data) sum += v;
  return sum;
}

function correlationWithin(a: Plane, b: Plane, coverage: Plane): BandCheck {
  let count = 0;
  let sa = 0;
  let sb = 0;
  let saa = 0;
  let sbb = 0;
  let sab = 0;
  for (let i = 0; i < coverage.data.length; i++) {
    if (coverage.data[i]! < 0.5) continue;
    const p = a.data[i]!;
    const q = b.data[i]!;
    count++;
    sa += p;
    sb += q;
    saa += p * p;
    sbb += q * q;
    sab += p * q;
  }
  return { correlation: correlationFromSums(count, sa, sb, saa, sbb, sab), samples: count / INDEPENDENT_AREA_PX2 };
}
