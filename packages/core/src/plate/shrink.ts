import type { LinearImage, Plane } from '../compute/image.js';
import { bandsOf, type PlateSource } from './plate-source.js';

/** A picture and its coverage on a smaller grid. */
export interface Shrunk {
  readonly image: LinearImage;
  readonly coverage: Plane;
}

/**
 * Averages areas in linear light, each pixel weighted by its coverage and by how much of it lies in the area, until the
 * longer side is at most `maxSidePx`; never enlarges. Where nothing is covered, the colour is 0. The coverage becomes
 * the mean over the area. Reads the plate once, from top to bottom.
 */
export function shrink(source: PlateSource, maxSidePx: number): Shrunk {
  const scale = Math.max(1, Math.max(source.width, source.height) / maxSidePx);
  const width = Math.max(1, Math.round(source.width / scale));
  const height = Math.max(1, Math.round(source.height / scale));
  const columns = columnShares(source.width, width);
  const share = (width * height) / (source.width * source.height);
  const outCoverage = new Float32Array(width * height);
  const outPlanes = Array.from({ length: source.channels }, () => new Float32Array(width * height));
  const weight = new Float64Array(width + 1);
  const sums = outPlanes.map(() => new Float64Array(width + 1));
  const finish = (y: number): void => {
    for (let x = 0, to = y * width; x < width; x++, to++) {
      outCoverage[to] = Math.min(1, weight[x]! * share);
      for (let c = 0; c < sums.length; c++) outPlanes[c]![to] = weight[x]! > 0 ? sums[c]![x]! / weight[x]! : 0;
    }
    weight.fill(0);
    for (const sum of sums) sum.fill(0);
  };
  for (const { image, coverage, y0 } of bandsOf(source)) {
    for (let row = 0; row < image.height; row++) {
      const from = row * image.width;
      for (const { y, part, isLast } of rowsUnder(y0 + row, source.height, height)) {
        addRow(weight, undefined, coverage.data, from, part, columns);
        for (const [c, plane] of image.planes.entries()) addRow(sums[c]!, plane, coverage.data, from, part, columns);
        if (isLast) finish(y);
      }
    }
  }
  return { image: { width, height, planes: outPlanes }, coverage: { width, height, data: outCoverage } };
}

/** Where each input column goes: an output column, and the shares of it and of the next one. */
interface ColumnShares {
  readonly to: Int32Array;
  readonly here: Float64Array;
  readonly next: Float64Array;
}

/** As the grid never grows, an input column lies in one output column or in two. */
function columnShares(from: number, to: number): ColumnShares {
  const shares = { to: new Int32Array(from), here: new Float64Array(from), next: new Float64Array(from) };
  for (let x = 0; x < from; x++) {
    const column = Math.floor((x * to) / from);
    const border = ((column + 1) * from) / to;
    shares.to[x] = column;
    shares.here[x] = Math.min(1, border - x);
    shares.next[x] = 1 - shares.here[x]!;
  }
  return shares;
}

/** The output rows that an input row belongs to, one or two, how much of it each has, and whether it is their last one. */
function rowsUnder(row: number, from: number, to: number): { y: number; part: number; isLast: boolean }[] {
  const y = Math.min(to - 1, Math.floor((row * to) / from));
  const border = ((y + 1) * from) / to;
  const here = Math.min(1, border - row);
  const isLast = border <= row + 1 || row === from - 1;
  const rows = [{ y, part: here, isLast }];
  if (here < 1 && y + 1 < to) rows.push({ y: y + 1, part: 1 - here, isLast: ((y + 2) * from) / to <= row + 1 });
  return rows;
}

/** Adds one input row, weighted by coverage; without `values` the weights themselves. */
function addRow(
  sums: Float64Array,
  values: Float32Array | undefined,
  coverage: Float32Array,
  from: number,
  part: number,
  { to, here, next }: ColumnShares,
): void {
  for (let x = 0; x < to.length; x++) {
    const covered = coverage[from + x]!;
    if (!(covered > 0)) continue;
    const weighted = part * covered * (values === undefined ? 1 : values[from + x]!);
    const column = to[x]!;
    sums[column]! += weighted * here[x]!;
    sums[column + 1]! += weighted * next[x]!;
  }
}
