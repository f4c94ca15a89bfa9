import { binPlane } from '../compute/downsample.js';
import { gaussianBlur } from '../compute/gaussian.js';
import { createPlane, type Plane } from '../compute/image.js';
import { quantile } from '../compute/quantile.js';
import { bilinearAt } from '../compute/sample.js';
import { type Disc, outside } from './fit-disc.js';

/** A smoothed copy of a picture with 1 wherever all that a value was made from is data. */
export interface Survey {
  readonly light: Plane;
  readonly known: Plane;
  /** Pixels of the picture per pixel of this one. */
  readonly factor: number;
}

/** A place where dark sky borders on lit ground, px of the survey. */
export interface LimbCandidate {
  readonly x: number;
  readonly y: number;
  /** Unit vector across the edge, towards the light. */
  readonly inwardX: number;
  readonly inwardY: number;
  /** Rise of the light across the edge. */
  readonly step: number;
}

/** The picture shrunk by whole factors until its longer side is at most `sidePx`, smoothed against noise. */
export function surveyOf(light: Plane, coverage: Plane | undefined, sidePx: number): Survey {
  const factor = Math.max(1, Math.ceil(Math.max(light.width, light.height) / sidePx));
  const { width, height } = light;
  const held = createPlane(width, height);
  const mask = createPlane(width, height);
  for (let i = 0; i < held.data.length; i++) {
    if (!isKnown(light, coverage, i)) continue;
    held.data[i] = light.data[i]!;
    mask.data[i] = 1;
  }
  const sigma = factor === 1 ? 1.5 : 1;
  const sum = gaussianBlur(binPlane(held, factor), sigma);
  const share = gaussianBlur(binPlane(mask, factor), sigma);
  for (let i = 0; i < sum.data.length; i++) {
    const known = share.data[i]! > 0.9999;
    sum.data[i] = known ? sum.data[i]! / share.data[i]! : 0;
    share.data[i] = known ? 1 : 0;
  }
  return { light: sum, known: share, factor };
}

/** Whether a pixel, by index, is data: covered and finite. */
export function isKnown(light: Plane, coverage: Plane | undefined, index: number): boolean {
  return (coverage === undefined || coverage.data[index]! >= 1) && Number.isFinite(light.data[index]!);
}

/**
 * Crests of the gradient that look like a limb: the outside is dark and even over a stretch, the inside lit over a
 * stretch. Edges of the data give none.
 */
export function limbCandidates(survey: Survey): LimbCandidate[] {
  const { width, height, data } = survey.light;
  const range = rangeOf(survey);
  const found: LimbCandidate[] = [];
  if (!(range > 0)) return found;
  const squared = (i: number): number =>
    ((data[i + 1]! - data[i - 1]!) / 2) ** 2 + ((data[i + width]! - data[i - width]!) / 2) ** 2;
  const least = (LEAST_GRADIENT * range) ** 2;
  for (let y = MARGIN; y < height - MARGIN; y++) {
    for (let x = MARGIN; x < width - MARGIN; x++) {
      const i = y * width + x;
      const g2 = squared(i);
      if (g2 < least) continue;
      const gx = (data[i + 1]! - data[i - 1]!) / 2;
      const gy = (data[i + width]! - data[i - width]!) / 2;
      const along = Math.abs(gx) > Math.abs(gy) ? 1 : width;
      const before = squared(i - along);
      const after = squared(i + along);
      if (g2 < before || g2 <= after) continue;
      const candidate = examine(survey, x, y, gx / Math.sqrt(g2), gy / Math.sqrt(g2), range);
      if (!candidate) continue;
      const bend = before - 2 * g2 + after;
      const shift = bend < 0 ? (0.5 * (before - after)) / bend : 0;
      found.push({ ...candidate, x: x + (along === 1 ? shift : 0), y: y + (along === 1 ? 0 : shift) });
    }
  }
  return found;
}

/**
 * Whether the survey is dark outside a disc (px of the picture) but for at most {@link MOST_OUTSIDE} as many lit pixels
 * as inside. The terminator, a crater or a mare's shore has ground on both sides.
 */
export function nothingOutside({ light, known, factor }: Survey, disc: Disc): boolean {
  const middle = (factor - 1) / 2;
  const rings: [number[], number[]] = [[], []];
  const eachPixel = (visit: (offPx: number, value: number) => void): void => {
    for (let y = 0; y < light.height; y++) {
      for (let x = 0; x < light.width; x++) {
        const i = y * light.width + x;
        if (known.data[i] === 1)
          visit(outside(disc, x * factor + middle, y * factor + middle) / factor, light.data[i]!);
      }
    }
  };
  eachPixel((off, value) => {
    if (off > 4 && off < 16) rings[0].push(value);
    if (off < -3 && off > -10) rings[1].push(value);
  });
  if (rings[0].length === 0 || rings[1].length === 0) return false;
  const level = (quantile(rings[0], 0.5) + quantile(rings[1], 0.75)) / 2;
  const lit = [0, 0];
  eachPixel((off, value) => {
    if (value > level && Math.abs(off) > 4) lit[off > 0 ? 0 : 1]!++;
  });
  return lit[0]! <= MOST_OUTSIDE * lit[1]!;
}

/** Lit pixels outside over those inside. */
const MOST_OUTSIDE = 0.02;
/** Margin to the border of the survey, px. */
const MARGIN = 3;
/** Shares of the picture's range of light. */
const LEAST_GRADIENT = 0.03;
const LEAST_STEP = 0.12;
/** How far the outside is followed, px of the survey. */
const OUTSIDE_PX = 16;
const LEAST_OUTSIDE_PX = 6;

function rangeOf({ light, known }: Survey): number {
  const values: number[] = [];
  const stride = Math.max(1, Math.floor(light.data.length / 30_000));
  for (let i = 0; i < light.data.length; i += stride) if (known.data[i] === 1) values.push(light.data[i]!);
  return values.length < 100 ? 0 : quantile(values, 0.99) - quantile(values, 0.02);
}

function examine(s: Survey, x: number, y: number, ux: number, uy: number, range: number): LimbCandidate | undefined {
  const near = mean(at(s, x, y, ux, uy, -4), at(s, x, y, ux, uy, -5), at(s, x, y, ux, uy, -6));
  const inside = mean(at(s, x, y, ux, uy, 3), at(s, x, y, ux, uy, 4));
  const step = inside - near;
  if (!(step > LEAST_STEP * range) || !(at(s, x, y, ux, uy, 2.5) > near + 0.5 * step)) return undefined;
  let followed = 0;
  for (let d = 4; d <= OUTSIDE_PX; d++) {
    const value = at(s, x, y, ux, uy, -d);
    if (Number.isNaN(value)) break;
    if (value > near + 0.25 * step) return undefined;
    followed = d;
  }
  return followed < LEAST_OUTSIDE_PX ? undefined : { x, y, inwardX: ux, inwardY: uy, step: step / range };
}

function mean(...values: readonly number[]): number {
  return values.reduce((sum, v) => sum + v, 0) / values.length;
}

/** Light at a distance inwards along a direction; NaN where there is no data. */
function at({ light, known }: Survey, x: number, y: number, ux: number, uy: number, d: number): number {
  const px = x + d * ux;
  const py = y + d * uy;
  if (px < 0 || py < 0 || px > light.width - 1 || py > light.height - 1) return Number.NaN;
  if (known.data[Math.round(py) * known.width + Math.round(px)] !== 1) return Number.NaN;
  return bilinearAt(light.data, light.width, light.height, px, py);
}
