import type { LinearImage, Plane } from '../compute/image.js';

/** A picture and its coverage on a smaller grid. */
export interface Shrunk {
  readonly image: LinearImage;
  readonly coverage: Plane;
}

/**
 * Averages areas in linear light, each pixel weighted by its coverage and by how much of it lies in the area, until the
 * longer side is at most `maxSidePx`; never enlarges. Where nothing is covered, the colour is 0. The coverage becomes
 * the mean over the area.
 */
export function shrink(image: LinearImage, coverage: Plane, maxSidePx: number): Shrunk {
  const scale = Math.max(1, Math.max(image.width, image.height) / maxSidePx);
  const width = Math.max(1, Math.round(image.width / scale));
  const height = Math.max(1, Math.round(image.height / scale));
  const columns = columnShares(image.width, width);
  const share = (width * height) / (image.width * image.height);
  const outCoverage = new Float32Array(width * height);
  const outPlanes = image.planes.map(() => new Float32Array(width * height));
  const weight = new Float64Array(width + 1);
  const sums = image.planes.map(() => new Float64Array(width + 1));
  for (let y = 0; y < height; y++) {
    weight.fill(0);
    for (const sum of sums) sum.fill(0);
    for (const { row, part } of rowsOf(y, image.height, height)) {
      const from = row * image.width;
      addRow(weight, undefined, coverage.data, from, part, columns);
      image.planes.forEach((plane, c) => {
        addRow(sums[c]!, plane, coverage.data, from, part, columns);
      });
    }
    for (let x = 0, to = y * width; x < width; x++, to++) {
      outCoverage[to] = Math.min(1, weight[x]! * share);
      for (let c = 0; c < sums.length; c++) outPlanes[c]![to] = weight[x]! > 0 ? sums[c]![x]! / weight[x]! : 0;
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

/** The input rows that an output row covers, and how much of each. */
function rowsOf(y: number, from: number, to: number): { row: number; part: number }[] {
  const start = (y * from) / to;
  const end = ((y + 1) * from) / to;
  const rows: { row: number; part: number }[] = [];
  for (let row = Math.floor(start); row < Math.min(from, Math.ceil(end)); row++) {
    rows.push({ row, part: Math.min(end, row + 1) - Math.max(start, row) });
  }
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
