import { createPlane, type Plane } from './image.js';

/**
 * The plane on a coarser grid of `width` x `height` pixels, neither above the plane's own: each new pixel is the mean of
 * the area that it covers, so that nothing aliases badly and the mean of the picture is kept. Position x of the plane
 * comes to lie at (x + 0.5)·width / plane.width − 0.5. Throws RangeError for sizes that are not from 1 to the plane's.
 */
export function shrinkArea(plane: Plane, width: number, height: number): Plane {
  if (!isSize(width, plane.width) || !isSize(height, plane.height))
    throw new RangeError(`shrinkArea needs 1 to ${plane.width} x 1 to ${plane.height}, got ${width} x ${height}`);
  const columns = areaWeights(plane.width, width);
  const rows = areaWeights(plane.height, height);
  const out = createPlane(width, height);
  const line = new Float64Array(width);
  for (let y = 0; y < height; y++) {
    line.fill(0);
    for (let k = rows.first[y]!; k < rows.first[y + 1]!; k++) {
      const from = rows.source[k]! * plane.width;
      for (let x = 0; x < width; x++) {
        let sum = 0;
        for (let j = columns.first[x]!; j < columns.first[x + 1]!; j++) {
          sum += columns.weight[j]! * plane.data[from + columns.source[j]!]!;
        }
        line[x]! += rows.weight[k]! * sum;
      }
    }
    out.data.set(line, y * width);
  }
  return out;
}

function isSize(n: number, most: number): boolean {
  return Number.isInteger(n) && n >= 1 && n <= most;
}

interface AreaWeights {
  /** Where the entries of each new pixel begin; one more at the end. */
  readonly first: readonly number[];
  readonly source: readonly number[];
  readonly weight: readonly number[];
}

function areaWeights(from: number, to: number): AreaWeights {
  const first = [0];
  const source: number[] = [];
  const weight: number[] = [];
  const step = from / to;
  for (let i = 0; i < to; i++) {
    const start = i * step;
    const end = Math.min(from, (i + 1) * step);
    for (let k = Math.floor(start); k < end; k++) {
      const share = (Math.min(end, k + 1) - Math.max(start, k)) / step;
      if (share < 1e-9) continue;
      source.push(k);
      weight.push(share);
    }
    first.push(source.length);
  }
  return { first, source, weight };
}
