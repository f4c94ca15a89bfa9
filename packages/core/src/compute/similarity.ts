import type { Affine } from './affine.js';

/** Rotation, uniform scale and shift, no mirroring: x' = a·x − b·y + tx, y' = b·x + a·y + ty (y down). */
export interface Similarity {
  readonly a: number;
  readonly b: number;
  readonly tx: number;
  readonly ty: number;
}

/** The same point in two coordinate spaces. */
export interface PointPair {
  readonly fromX: number;
  readonly fromY: number;
  readonly toX: number;
  readonly toY: number;
}

/**
 * The similarity that maps the `from` points to the `to` points with the least sum of weighted squared distances
 * (closed form; all weights 1 when left out). Throws RangeError when fewer than two different points carry weight.
 */
export function fitSimilarity(pairs: readonly PointPair[], weights?: ArrayLike<number>): Similarity {
  const m = weightedMeans(pairs, weights);
  let spread = 0;
  let cosine = 0;
  let sine = 0;
  pairs.forEach((pair, i) => {
    const w = weightOf(weights, i);
    const x = pair.fromX - m.fromX;
    const y = pair.fromY - m.fromY;
    const u = pair.toX - m.toX;
    const v = pair.toY - m.toY;
    spread += w * (x * x + y * y);
    cosine += w * (x * u + y * v);
    sine += w * (x * v - y * u);
  });
  if (!(spread > 0)) throw new RangeError('a similarity needs two different points, got fewer');
  const a = cosine / spread;
  const b = sine / spread;
  return { a, b, tx: m.toX - a * m.fromX + b * m.fromY, ty: m.toY - b * m.fromX - a * m.fromY };
}

/**
 * The affine map with the least sum of weighted squared distances. Throws RangeError when fewer than three points
 * that are not in one line carry weight.
 */
export function fitAffine(pairs: readonly PointPair[], weights?: ArrayLike<number>): Affine {
  const m = weightedMeans(pairs, weights);
  const s = { xx: 0, xy: 0, yy: 0, xu: 0, yu: 0, xv: 0, yv: 0 };
  pairs.forEach((pair, i) => {
    const w = weightOf(weights, i);
    const x = pair.fromX - m.fromX;
    const y = pair.fromY - m.fromY;
    const u = w * (pair.toX - m.toX);
    const v = w * (pair.toY - m.toY);
    s.xx += w * x * x;
    s.xy += w * x * y;
    s.yy += w * y * y;
    s.xu += x * u;
    s.yu += y * u;
    s.xv += x * v;
    s.yv += y * v;
  });
  const determinant = s.xx * s.yy - s.xy * s.xy;
  if (!(determinant > 1e-12 * (s.xx + s.yy) ** 2))
    throw new RangeError('an affine map needs three points that are not in one line, got fewer');
  const xx = (s.xu * s.yy - s.yu * s.xy) / determinant;
  const xy = (s.yu * s.xx - s.xu * s.xy) / determinant;
  const yx = (s.xv * s.yy - s.yv * s.xy) / determinant;
  const yy = (s.yv * s.xx - s.xv * s.xy) / determinant;
  return {
    xx,
    xy,
    tx: m.toX - xx * m.fromX - xy * m.fromY,
    yx,
    yy,
    ty: m.toY - yx * m.fromX - yy * m.fromY,
  };
}

/** The map of the other direction. Throws RangeError for a scale of 0. */
export function invertSimilarity(map: Similarity): Similarity {
  const square = map.a * map.a + map.b * map.b;
  if (!(square > 0)) throw new RangeError('a similarity of scale 0 has no inverse');
  const a = map.a / square;
  const b = -map.b / square;
  return { a, b, tx: -a * map.tx + b * map.ty, ty: -b * map.tx - a * map.ty };
}

/** How far the mapped `from` point of the pair lies from its `to` point, in units of the latter's space. */
export function similarityResidual(map: Similarity, pair: PointPair): number {
  return Math.hypot(
    map.a * pair.fromX - map.b * pair.fromY + map.tx - pair.toX,
    map.b * pair.fromX + map.a * pair.fromY + map.ty - pair.toY,
  );
}

function weightOf(weights: ArrayLike<number> | undefined, i: number): number {
  return weights === undefined ? 1 : weights[i]!;
}

function weightedMeans(pairs: readonly PointPair[], weights: ArrayLike<number> | undefined): PointPair {
  const sum = { fromX: 0, fromY: 0, toX: 0, toY: 0 };
  let total = 0;
  pairs.forEach((pair, i) => {
    const w = weightOf(weights, i);
    total += w;
    sum.fromX += w * pair.fromX;
    sum.fromY += w * pair.fromY;
    sum.toX += w * pair.toX;
    sum.toY += w * pair.toY;
  });
  return { fromX: sum.fromX / total, fromY: sum.fromY / total, toX: sum.toX / total, toY: sum.toY / total };
}
