import { luminance, type Plane } from '../compute/image.js';
import { quantile } from '../compute/quantile.js';
import { solveInPlace } from '../compute/small-solve.js';
import { findShownLimb } from '../placement/shown-limb.js';
import { gaugeOf, type LimbEllipse } from './limb-ellipse.js';
import { type LimbSoftness, measureSoftness } from './limb-softness.js';
import type { PlateSource } from './plate-source.js';
import { type Shrunk, shrink } from './shrink.js';

/** Light of the sky over the plate, one entry a channel: level + slopeX·x + slopeY·y, linear light, x and y in plate px. */
export interface SkyLight {
  readonly level: number;
  readonly slopeX: number;
  readonly slopeY: number;
}

/** The disc on the plate, its edge and the sky around it. */
export interface LimbModel {
  readonly ellipse: LimbEllipse;
  readonly softness: LimbSoftness;
  readonly sky: readonly SkyLight[];
}

/** Longer side of the small plate on which the disc is looked for. */
const SMALL_PX = 2048;
/** Sky is what lies farther from the limb than this share of the radius, and than 4 px of the small plate. */
const CLEAR_SHARE = 0.02;
const CLEAR_PX = 4;
const LEAST_SKY_PIXELS = 100;
const ROUNDS = 6;
/** Sky farther from the plane than so many robust standard deviations is a star or glare. */
const MOST_SIGMA = 3;

/** Finds the disc and measures its edge and its sky. Null where no lit limb is to be seen. */
export function findLimbModel(source: PlateSource): LimbModel | null {
  const small = shrink(source, SMALL_PX);
  const ellipse = findEllipse(small, source.width);
  if (!ellipse) return null;
  const softness = measureSoftness(source, ellipse);
  return softness && { ellipse, softness, sky: skyAround(small, ellipse, source.width) };
}

/** The disc of a small plate, in px of the plate that is `widthPx` wide. */
function findEllipse({ image, coverage }: Shrunk, widthPx: number): LimbEllipse | null {
  const light = luminance(image);
  const covered: Plane = { ...coverage, data: coverage.data.map((value) => (value > 0.999 ? 1 : 0)) };
  const limb = findShownLimb(light, covered, { stretch: true }) ?? findShownLimb(light, covered);
  if (!limb) return null;
  const factor = widthPx / light.width;
  return {
    centreX: (limb.centreX + 0.5) * factor - 0.5,
    centreY: (limb.centreY + 0.5) * factor - 0.5,
    aPx: limb.radiusPx * factor,
    bPx: limb.radiusPx * limb.stretch * factor,
    angleDeg: 0,
  };
}

/** A plane through the sky beyond the limb, without stars and glare; level 0 where there is too little sky. */
function skyAround({ image, coverage }: Shrunk, ellipse: LimbEllipse, widthPx: number): SkyLight[] {
  const factor = widthPx / image.width;
  const gauge = gaugeOf(ellipse);
  const clear = Math.max(CLEAR_PX * factor, CLEAR_SHARE * Math.max(ellipse.aPx, ellipse.bPx));
  const at: number[] = [];
  const step = Math.max(1, Math.floor(Math.sqrt((image.width * image.height) / 2e5)));
  for (let y = 0; y < image.height; y += step) {
    for (let x = 0; x < image.width; x += step) {
      const i = y * image.width + x;
      if (!(coverage.data[i]! > 0.999)) continue;
      if (gauge.place((x + 0.5) * factor - 0.5, (y + 0.5) * factor - 0.5).distancePx > clear) at.push(i);
    }
  }
  return image.planes.map((plane) => planeThrough(plane, image.width, at, factor));
}

function planeThrough(plane: Float32Array, width: number, all: readonly number[], factor: number): SkyLight {
  let used = all;
  let sky: SkyLight = { level: 0, slopeX: 0, slopeY: 0 };
  if (used.length < LEAST_SKY_PIXELS) return sky;
  sky = {
    ...sky,
    level: quantile(
      used.map((i) => plane[i]!),
      0.5,
    ),
  };
  const off = (i: number): number => plane[i]! - skyAt(sky, placeOf(i, width, factor));
  for (let round = 0; round < ROUNDS; round++) {
    const spread = quantile(
      all.map((i) => Math.abs(off(i))),
      0.5,
    );
    used = all.filter((i) => Math.abs(off(i)) <= MOST_SIGMA * 1.4826 * spread + 1e-9);
    const change = leastSquares(used, off, width);
    if (!change) break;
    const [level, perX, perY] = change;
    sky = {
      level: sky.level + level + ((perX + perY) * (1 - factor)) / (2 * factor),
      slopeX: sky.slopeX + perX / factor,
      slopeY: sky.slopeY + perY / factor,
    };
  }
  return sky;
}

/** Light of the sky at a place of the plate. */
export function skyAt({ level, slopeX, slopeY }: SkyLight, [x, y]: readonly [number, number]): number {
  return level + slopeX * x + slopeY * y;
}

function placeOf(i: number, width: number, factor: number): [number, number] {
  return [((i % width) + 0.5) * factor - 0.5, (Math.floor(i / width) + 0.5) * factor - 0.5];
}

/** Level and slopes of the residuals over columns and rows of the small plate. */
function leastSquares(
  used: readonly number[],
  residual: (i: number) => number,
  width: number,
): [number, number, number] | undefined {
  const normal = new Float64Array(9);
  const right = new Float64Array(3);
  for (const i of used) {
    const row = [1, i % width, Math.floor(i / width)];
    const value = residual(i);
    for (let a = 0; a < 3; a++) {
      right[a]! += row[a]! * value;
      for (let b = 0; b < 3; b++) normal[3 * a + b]! += row[a]! * row[b]!;
    }
  }
  return solveInPlace(normal, right, 3) ? [right[0]!, right[1]!, right[2]!] : undefined;
}
