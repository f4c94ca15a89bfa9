import type { PlateSource, PlateWindow } from './plate-source.js';

/** Size of a level, px. */
export interface LevelSize {
  readonly width: number;
  readonly height: number;
}

/** Whole rows of a level of a plate's pyramid, its first row being `y0`. */
export interface LevelBand extends PlateWindow {
  /** 0 is the plate itself; each further level is half as large. */
  readonly level: number;
  readonly y0: number;
}

/** Sizes of the plate and of its halves (rounded up), down to the first that is `leastSidePx` at most in both directions. */
export function levelsOf({ width, height }: LevelSize, leastSidePx: number): LevelSize[] {
  const sizes = [{ width, height }];
  for (let last = sizes[0]!; Math.max(last.width, last.height) > leastSidePx; last = sizes.at(-1)!) {
    sizes.push({ width: Math.ceil(last.width / 2), height: Math.ceil(last.height / 2) });
  }
  return sizes;
}

/**
 * Reads a plate once, from top to bottom, and gives it and its halves in bands of `rows` (an even number), the last of a
 * level being shorter; each level's come in order, and no more than one band a level is held. A pixel of a level is the
 * mean of the up to four under it, in linear light, weighted by coverage; its coverage is their mean. A band's arrays
 * are used again: they hold until the next one is asked for.
 */
export function* pyramidBands(source: PlateSource, sizes: readonly LevelSize[], rows: number): Generator<LevelBand> {
  const held = sizes.map(({ width, height }, level) => {
    const samples = level === 0 ? 0 : width * Math.min(rows, height);
    return Array.from({ length: source.channels + 1 }, () => new Float32Array(samples));
  });
  for (let y0 = 0; y0 < source.height; y0 += rows) {
    const height = Math.min(rows, source.height - y0);
    const window = source.read({ x0: 0, y0, width: source.width, height });
    yield* withHalves({ ...window, level: 0, y0 }, sizes, rows, held);
  }
}

function* withHalves(
  band: LevelBand,
  sizes: readonly LevelSize[],
  rows: number,
  held: readonly (readonly Float32Array[])[],
): Generator<LevelBand> {
  yield band;
  const level = band.level + 1;
  const size = sizes[level];
  if (size === undefined) return;
  const into = held[level]!;
  const start = band.y0 / 2;
  const row = start % rows;
  halve(band, into, size.width, row);
  const filled = row + Math.ceil(band.image.height / 2);
  if (filled < rows && start - row + filled < size.height) return;
  const { width } = size;
  const planes = into.map((plane) => plane.subarray(0, width * filled));
  const coverage = { width, height: filled, data: planes.pop()! };
  yield* withHalves({ image: { width, height: filled, planes }, coverage, level, y0: start - row }, sizes, rows, held);
}

/** Puts the half of a band at a row of the level above; the last plane takes the coverage. */
function halve({ image, coverage }: LevelBand, into: readonly Float32Array[], width: number, row: number): void {
  const shares = into.at(-1)!;
  for (let y = 0; y < image.height; y += 2) {
    const upper = y * image.width;
    // Where there is no second row or column, the first counts twice: the mean of those that there are.
    const lower = y + 1 < image.height ? upper + image.width : upper;
    const to = (row + y / 2) * width;
    image.planes.forEach((plane, c) => {
      halveRows(plane, coverage.data, upper, lower, image.width, into[c]!, to, width);
    });
    halveCoverage(coverage.data, upper, lower, image.width, shares, to, width);
  }
}

function halveRows(
  plane: Float32Array,
  coverage: Float32Array,
  upper: number,
  lower: number,
  wide: number,
  out: Float32Array,
  to: number,
  width: number,
): void {
  for (let x = 0; x < width; x++) {
    const left = 2 * x;
    const right = left + 1 < wide ? left + 1 : left;
    const [a, b, c, d] = [upper + left, upper + right, lower + left, lower + right];
    const [p, q, r, s] = [coverage[a]!, coverage[b]!, coverage[c]!, coverage[d]!];
    const sum = p + q + r + s;
    if (sum === 4) out[to + x] = (plane[a]! + plane[b]! + plane[c]! + plane[d]!) / 4;
    else out[to + x] = sum > 0 ? (p * plane[a]! + q * plane[b]! + r * plane[c]! + s * plane[d]!) / sum : 0;
  }
}

function halveCoverage(
  coverage: Float32Array,
  upper: number,
  lower: number,
  wide: number,
  out: Float32Array,
  to: number,
  width: number,
): void {
  for (let x = 0; x < width; x++) {
    const left = 2 * x;
    const right = left + 1 < wide ? left + 1 : left;
    out[to + x] =
      (coverage[upper + left]! + coverage[upper + right]! + coverage[lower + left]! + coverage[lower + right]!) / 4;
  }
}
