import { luminance, type Plane } from '../compute/image.js';
import { quantile } from '../compute/quantile.js';
import { solveInPlace } from '../compute/small-solve.js';
import type { LimbFit } from '../placement/limb.js';
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
/** A flattening of so many standard deviations is believed: neighbouring places err alike, more than their scatter tells. */
const SURE_SIGMA = 5;
/** Sky farther from the plane than so many robust standard deviations is a star or glare. */
const MOST_SIGMA = 3;

/**
 * Finds the disc and measures its edge and its sky. `known`: the disc, where the plate's place on its body tells it, with the
 * flattening by refraction that follows from the sky. Null where no lit limb is to be seen.
 */
export function findLimbModel(source: PlateSource, known: LimbEllipse | null = null): LimbModel | null {
  const small = shrink(source, SMALL_PX);
  const ellipse = known ?? findEllipse(small, source.width);
  if (!ellipse) return null;
  const softness = measureSoftness(source, ellipse);
  return softness && { ellipse, softness, sky: skyAround(small, ellipse, source.width) };
}

/** The disc of a small plate, in px of the plate that is `widthPx` wide. */
function findEllipse({ image, coverage }: Shrunk, widthPx: number): LimbEllipse | null {
  const light = luminance(image);
  const covered: Plane = { ...coverage, data: coverage.data.map((value) => (value > 0.999 ? 1 : 0)) };
  const stretched = findShownLimb(light, covered, { stretch: true });
  const limb = stretched && isFlattened(stretched) ? stretched : findShownLimb(light, covered);
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

/**
 * Whether a stretch is surely that of refraction, which only ever flattens. An arc on one side hardly tells it from a shift:
 * what the air's bends feign would put the unlit side of the disc pixels away from its place.
 */
function isFlattened({ stretch, covariance }: LimbFit): boolean {
  return 1 - stretch > SURE_SIGMA * Math.sqrt(covariance[15]!);
}

/** A plane through the sky beyond the limb, without stars and glare; level 0 where there is too little sky. */
function skyAround({ image, coverage }: Shrunk, ellipse: LimbEllipse, widthPx: number): SkyLight[] {
  const factor = widthPx / image.width;
  const gauge = gaugeOf(ellipse);
  const clear = Math.max(CLEAR_PX * factor, CLEAR_SHARE * Math.max(ellipse.aPx, ellipse.bPx));
  const at = new Int32Array(image.width * image.height);
  let count = 0;
  const step = Math.max(1, Math.floor(Math.sqrt((image.width * image.height) / 2e5)));
  for (let y = 0; y < image.height; y += step) {
    for (let x = 0; x < image.width; x += step) {
      const i = y * image.width + x;
      if (!(coverage.data[i]! > 0.999)) continue;
      if (gauge.place((x + 0.5) * factor - 0.5, (y + 0.5) * factor - 0.5).distancePx > clear) at[count++] = i;
    }
  }
  return image.planes.map((plane) => planeThrough(plane, image.width, at.subarray(0, count), factor));
}

function planeThrough(plane: Float32Array, width: number, at: Int32Array, factor: number): SkyLight {
  let sky: SkyLight = { level: 0, slopeX: 0, slopeY: 0 };
  if (at.length < LEAST_SKY_PIXELS) return sky;
  const off = new Float64Array(at.length);
  const away = new Float64Array(at.length);
  for (let k = 0; k < at.length; k++) off[k] = plane[at[k]!]!;
  sky = { ...sky, level: quantile(off, 0.5) };
  for (let round = 0; round < ROUNDS; round++) {
    const { level, slopeX, slopeY } = sky;
    for (let k = 0; k < at.length; k++) {
      const i = at[k]!;
      const x = ((i % width) + 0.5) * factor - 0.5;
      const y = (Math.floor(i / width) + 0.5) * factor - 0.5;
      off[k] = plane[i]! - (level + slopeX * x + slopeY * y);
      away[k] = Math.abs(off[k]!);
    }
    const most = MOST_SIGMA * 1.4826 * quantile(away, 0.5) + 1e-9;
    const change = leastSquares(at, off, most, width);
    if (!change) break;
    const [more, perX, perY] = change;
    sky = {
      level: level + more + ((perX + perY) * (1 - factor)) / (2 * factor),
      slopeX: slopeX + perX / factor,
      slopeY: slopeY + perY / factor,
    };
  }
  return sky;
}

/** Light of the sky at a place of the plate. */
export function skyAt({ level, slopeX, slopeY }: SkyLight, [x, y]: readonly [number, number]): number {
  return level + slopeX * x + slopeY * y;
}

/** Level and slopes over columns and rows of the small plate, of the residuals that are no larger than `most`. */
function leastSquares(
  at: Int32Array,
  residuals: Float64Array,
  most: number,
  width: number,
): [number, number, number] | undefined {
  let [n, x, y, xx, xy, yy, v, vx, vy] = [0, 0, 0, 0, 0, 0, 0, 0, 0];
  for (let k = 0; k < at.length; k++) {
    const value = residuals[k]!;
    if (!(Math.abs(value) <= most)) continue;
    const column = at[k]! % width;
    const row = Math.floor(at[k]! / width);
    n++;
    x += column;
    y += row;
    xx += column * column;
    xy += column * row;
    yy += row * row;
    v += value;
    vx += column * value;
    vy += row * value;
  }
  const right = Float64Array.of(v, vx, vy);
  return solveInPlace(Float64Array.of(n, x, y, x, xx, xy, y, xy, yy), right, 3)
    ? [right[0]!, right[1]!, right[2]!]
    : undefined;
}
