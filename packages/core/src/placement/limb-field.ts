import type { Disc } from './fit-disc.js';
import { OFFSET, PARTS, SHADING } from './limb-blocks.js';
import type { Place } from './limb-measure.js';
import type { Mixed } from './limb-mixed.js';

/** What the parts' means along the limb are made of: disc first, then the waves of sky, step, shading and blur. */
export interface Field {
  readonly unknowns: number;
  /** First unknown of each part and how many it has. */
  readonly start: readonly number[];
  readonly length: readonly number[];
  /** For each place and part, how the mean depends on those unknowns. */
  readonly rows: readonly (readonly Float64Array[])[];
  /** Angle half way along the arc, and that of the whole arc, radians. */
  readonly middle: number;
  readonly extent: number;
  /** Position angle of the Sun that the shading's mean was shaped by, if any. */
  readonly sunwards: number | undefined;
}

/** Half waves along the limb that a part's mean may have; the blur is one for all. */
const WAVES = [8, 8, 0, 8, 0];

/**
 * `sunwards` is the position angle of the Sun, where known: the shading of a moonlit limb goes as the inverse of the
 * Sun's height there (Lommel–Seeliger), and waves only modify that. `discUnknowns` is 3 for centre and radius, or 4 with the stretch, the
 * latter in px of the radius.
 */
export function fieldOf(places: readonly Place[], disc: Disc, discUnknowns: number, sunwards?: number): Field {
  const length = WAVES.map((waves, part) => (part === OFFSET ? discUnknowns : waves + 1));
  const start = new Array<number>(PARTS).fill(0);
  let unknowns = discUnknowns;
  for (let part = 0; part < PARTS; part++) {
    if (part === OFFSET) continue;
    start[part] = unknowns;
    unknowns += length[part]!;
  }
  const { along, middle, extent } = positions(places);
  const height = (angle: number): number =>
    sunwards === undefined ? 1 : Math.max(LEAST_HEIGHT, Math.cos(angle - sunwards));
  const rows = places.map(({ angle }, k) =>
    length.map((n, part) => {
      const scale = part === SHADING ? height(middle) / height(angle) : 1;
      if (part !== OFFSET) return Float64Array.from({ length: n }, (_, m) => scale * Math.cos(Math.PI * m * along[k]!));
      const [cos, sin] = [Math.cos(angle), Math.sin(angle)];
      return Float64Array.of(cos, sin / disc.stretch, 1, (sin * sin) / disc.stretch).subarray(0, n);
    }),
  );
  return { unknowns, start, length, rows, middle, extent, sunwards };
}

/** Least height of the Sun, relative to its greatest along the limb, that the shading is taken to follow. */
const LEAST_HEIGHT = 0.3;

/** Places along the arc as 0 to 1, counted from the end of its widest gap. */
function positions(places: readonly Place[]): { along: number[]; middle: number; extent: number } {
  let widest = places[0]!.angle + 2 * Math.PI - places[places.length - 1]!.angle;
  let first = 0;
  for (let k = 1; k < places.length; k++) {
    const gap = places[k]!.angle - places[k - 1]!.angle;
    if (gap <= widest) continue;
    widest = gap;
    first = k;
  }
  const extent = 2 * Math.PI - widest;
  const from = places[first]!.angle;
  const along = places.map(({ angle }, k) => (angle - from + (k < first ? 2 * Math.PI : 0)) / extent);
  return { along, middle: from + extent / 2, extent };
}

/** Mean of every part of place k. */
export function meansAt(field: Field, k: number, solution: Float64Array): Float64Array {
  return Float64Array.from(field.rows[k]!, (row, part) => {
    let sum = 0;
    for (let m = 0; m < row.length; m++) sum += row[m]! * solution[field.start[part]! + m]!;
    return sum;
  });
}

/**
 * Position angle of the Sun from the mean shading and its trend along the limb, which go as the inverse of the Sun's
 * height. Undefined when the limb is not clearly shaded as the Moon's is.
 */
export function sunwardsOf({ start, unknowns, middle, extent }: Field, mixed: Mixed): number | undefined {
  const at = start[SHADING]!;
  const mean = mixed.solution[at]!;
  if (!(mean > CLEAR_SIGMAS * Math.sqrt(mixed.covariance[at * unknowns + at]!))) return undefined;
  const slope = (-Math.PI * mixed.solution[at + 1]!) / extent;
  return middle - Math.atan(slope / mean);
}

/** Standard deviations at which a shading is clear. */
const CLEAR_SIGMAS = 4;
