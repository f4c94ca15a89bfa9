import type { RowSource } from '../compute/image.js';

/** Distances over which second differences are taken, px: of the finest detail that air and optics leave, and of shapes. */
const FINE_PX = 2;
const COARSE_PX = 8;
/** Rows from one place that is looked at to the next, at most. */
const BAND_STEP = 96;
/** Places along the height that are looked at, at least. */
const LEAST_BANDS = 8;
/** Sums of the squared weights of a second and of a fourth difference: what they make of the variance of noise. */
const SECOND_GAIN = 6;
const FOURTH_GAIN = 70;
/** Only from this share of the way from the frame's darkest to its brightest light on does detail count. */
const LIT_SHARE = 0.08;
/** Detail at the coarse distance must stand out of the range of light by this share: below, there is only even ground. */
const LEAST_DETAIL = 2e-3;
/** Range of light in standard deviations of noise, at least: below, what is looked at is sky, or ground of the night side. */
const LEAST_RANGE_SIGMAS = 10;
/** Pixels that have to be looked at for an answer. */
const LEAST_PIXELS = 2000;

/**
 * Sharpness of a frame at full resolution, whatever ground it shows: the root of the ratio of its detail at 2 px to that at 8 px,
 * along rows and columns, on lit ground, noise taken off; null where there is too little detail to tell. Light of the first
 * channel, or of green. One row in some hundred is read, with what lies around it.
 */
export function frameSharpness(source: RowSource): number | null {
  const { width, height, channels } = source;
  const depth = 2 * COARSE_PX + 1;
  if (width < 4 * depth || height < 2 * depth) return null;
  const planes = Array.from({ length: channels }, () => new Float32Array(depth * width));
  const light = planes[channels === 3 ? 1 : 0]!;
  const step = Math.max(depth, Math.min(BAND_STEP, Math.floor(height / LEAST_BANDS)));
  const bands: Float32Array[] = [];
  for (let y = 0; y + depth <= height; y += step) {
    source.rows(y, planes);
    bands.push(light.slice());
  }
  const { least, most } = rangeOf(bands, width);
  const sums: Sums = { fine: 0, coarse: 0, noise: 0, count: 0 };
  for (const band of bands) addBand(band, width, least + LIT_SHARE * (most - least), sums);
  return ratioOf(sums, most - least);
}

/** Sums of squared differences over `count` pixels. */
interface Sums {
  fine: number;
  coarse: number;
  noise: number;
  count: number;
}

/** Of the middle rows of all bands, five pixels together, so that a hot one does not count. */
function rangeOf(bands: readonly Float32Array[], width: number): { least: number; most: number } {
  let [least, most] = [Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY];
  for (const band of bands) {
    const at = COARSE_PX * width;
    for (let x = COARSE_PX; x < width - COARSE_PX; x += COARSE_PX) {
      const i = at + x;
      const value = (band[i - 2]! + band[i - 1]! + band[i]! + band[i + 1]! + band[i + 2]!) / 5;
      least = Math.min(least, value);
      most = Math.max(most, value);
    }
  }
  return { least, most };
}

function addBand(band: Float32Array, width: number, edge: number, sums: Sums): void {
  const [fineRows, coarseRows] = [FINE_PX * width, COARSE_PX * width];
  for (let x = COARSE_PX; x < width - COARSE_PX; x++) {
    const i = COARSE_PX * width + x;
    const here = band[i]!;
    // The limb's step is no detail of the ground.
    if (band[i - COARSE_PX]! < edge || band[i + COARSE_PX]! < edge) continue;
    if (band[i - coarseRows]! < edge || band[i + coarseRows]! < edge) continue;
    const along = band[i - FINE_PX]! - 2 * here + band[i + FINE_PX]!;
    const across = band[i - fineRows]! - 2 * here + band[i + fineRows]!;
    const wideAlong = band[i - COARSE_PX]! - 2 * here + band[i + COARSE_PX]!;
    const wideAcross = band[i - coarseRows]! - 2 * here + band[i + coarseRows]!;
    const fourth = band[i - 2]! - 4 * band[i - 1]! + 6 * here - 4 * band[i + 1]! + band[i + 2]!;
    sums.fine += along * along + across * across;
    sums.coarse += wideAlong * wideAlong + wideAcross * wideAcross;
    sums.noise += fourth * fourth;
    sums.count++;
  }
}

function ratioOf({ fine, coarse, noise, count }: Sums, range: number): number | null {
  if (count < LEAST_PIXELS) return null;
  const variance = (SECOND_GAIN * noise) / FOURTH_GAIN / count;
  if (range < LEAST_RANGE_SIGMAS * Math.sqrt(variance / SECOND_GAIN)) return null;
  const shapes = coarse / (2 * count) - variance;
  // What is left of noise when noise is taken off is no shape, nor can finer detail be told from it.
  if (!(shapes > Math.max(variance, (LEAST_DETAIL * range) ** 2))) return null;
  return Math.sqrt(Math.max(0, fine / (2 * count) - variance) / shapes);
}
