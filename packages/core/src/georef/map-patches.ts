import { createPlane, type Plane } from '../compute/image.js';
import { quantile } from '../compute/quantile.js';
import { bandPass } from '../registration/band-pass.js';
import { type AlbedoMap, mapAt } from './albedo-map.js';
import { newGround } from './disc-sampler.js';
import { groundFinder, type PosedDisc } from './posed-disc.js';
import type { RoundView } from './round-view.js';

/** How far a patch of the map lies from where the view shows it, px of the view. */
export interface MapShift {
  /** Middle of the patch on the view. */
  readonly x: number;
  readonly y: number;
  /** From where the pose says to where the view shows the ground. */
  readonly dx: number;
  readonly dy: number;
  readonly correlation: number;
}

/** Patches along the radius, and half their side as a share of it. */
const PATCHES_A_RADIUS = 11;
const HALF_SHARE = 0.09;
/** Patches whose middle lies farther out are too slanted. */
const LIMB_SHARE = 0.9;
/** Shadows near the terminator are not in a map: darker ground than this share of the bright is left out. */
const LEAST_LIGHT = 0.22;
const LEAST_LIT = 0.9;
const LEAST_CORRELATION = 0.45;
/** Detail that is compared, as shares of the radius. */
const FINE_SHARE = 0.004;
const COARSE_SHARE = 0.035;

/** Lays the map on the view as the pose says and measures, patch by patch, how far off it is, up to `reachPx`. */
export function mapShifts(view: RoundView, pose: PosedDisc, map: AlbedoMap, reachPx: number): MapShift[] {
  const { light, coverage } = view;
  const { centreX, centreY, radiusPx } = pose;
  const fineSigmaPx = Math.max(0.8, FINE_SHARE * radiusPx);
  const band = { fineSigmaPx, coarseSigmaPx: COARSE_SHARE * radiusPx };
  const drawn = drawMap(light, pose, map);
  const [seen, expected] = [bandPass(light, band, coverage), bandPass(drawn.light, band, drawn.coverage)];
  const bright = brightLevel(light, coverage);
  const half = Math.max(8, Math.round(HALF_SHARE * radiusPx));
  const shifts: MapShift[] = [];
  for (let j = -PATCHES_A_RADIUS; j <= PATCHES_A_RADIUS; j++) {
    for (let i = -PATCHES_A_RADIUS; i <= PATCHES_A_RADIUS; i++) {
      if (Math.hypot(i, j) > LIMB_SHARE * PATCHES_A_RADIUS) continue;
      const x = Math.round(centreX + (i * radiusPx) / PATCHES_A_RADIUS);
      const y = Math.round(centreY + (j * radiusPx) / PATCHES_A_RADIUS);
      const far = half + reachPx + 1;
      if (x < far || y < far || x >= light.width - far || y >= light.height - far) continue;
      if (litShare(light, coverage, x, y, half, LEAST_LIGHT * bright) < LEAST_LIT) continue;
      const shift = bestShift(seen, expected, x, y, half, reachPx);
      if (shift && shift.correlation >= LEAST_CORRELATION) shifts.push({ x, y, ...shift });
    }
  }
  return shifts;
}

/** The map as the view would show it, without light and shadow, and where there is ground. */
function drawMap({ width, height }: Plane, pose: PosedDisc, map: AlbedoMap): { light: Plane; coverage: Plane } {
  const light = createPlane(width, height);
  const coverage = createPlane(width, height);
  const under = groundFinder(pose);
  const ground = newGround();
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      if (!under(x, y, ground)) continue;
      const at = y * width + x;
      // The detail filter takes roots, as for light.
      light.data[at] = mapAt(map, ground.longitudeDeg, ground.latitudeDeg);
      coverage.data[at] = 1;
    }
  }
  return { light, coverage };
}

function brightLevel(light: Plane, coverage: Plane): number {
  const some: number[] = [];
  const step = Math.max(1, Math.floor(light.data.length / 200_000));
  for (let i = 0; i < light.data.length; i += step) if (coverage.data[i]! > 0) some.push(light.data[i]!);
  return quantile(some, 0.97);
}

function litShare(light: Plane, coverage: Plane, x: number, y: number, half: number, least: number): number {
  let lit = 0;
  let all = 0;
  for (let j = y - half; j <= y + half; j += 2) {
    for (let i = x - half; i <= x + half; i += 2) {
      const at = j * light.width + i;
      all++;
      if (coverage.data[at]! > 0 && light.data[at]! > least) lit++;
    }
  }
  return lit / all;
}

/** Shift of the largest correlation, to a part of a pixel by a paraboloid; undefined where it lies at the edge. */
function bestShift(
  seen: Plane,
  expected: Plane,
  x: number,
  y: number,
  half: number,
  reach: number,
): { dx: number; dy: number; correlation: number } | undefined {
  const side = 2 * reach + 1;
  const scores = new Float64Array(side * side);
  let best = 0;
  for (let k = 0; k < scores.length; k++) {
    scores[k] = correlate(seen, expected, x, y, half, (k % side) - reach, Math.floor(k / side) - reach);
    if (scores[k]! > scores[best]!) best = k;
  }
  const [i, j] = [best % side, Math.floor(best / side)];
  if (i === 0 || j === 0 || i === side - 1 || j === side - 1) return undefined;
  const at = (p: number, q: number): number => scores[(j + q) * side + i + p]!;
  const peak = vertex(at);
  return peak && { dx: i - reach + peak.x, dy: j - reach + peak.y, correlation: scores[best]! };
}

/** Vertex of the paraboloid through nine values by least squares. */
function vertex(at: (p: number, q: number) => number): { x: number; y: number } | undefined {
  let [gx, gy, gxx, gyy, gxy] = [0, 0, 0, 0, 0];
  for (let q = -1; q <= 1; q++) {
    for (let p = -1; p <= 1; p++) {
      const z = at(p, q);
      gx += (p * z) / 6;
      gy += (q * z) / 6;
      gxx += (p * p - 2 / 3) * z;
      gyy += (q * q - 2 / 3) * z;
      gxy += (p * q * z) / 4;
    }
  }
  const det = gxx * gyy - gxy * gxy;
  if (!(det > 0 && gxx < 0)) return undefined;
  const [x, y] = [(gxy * gy - gyy * gx) / det, (gxy * gx - gxx * gy) / det];
  return Math.abs(x) <= 1 && Math.abs(y) <= 1 ? { x, y } : undefined;
}

/** Correlation of a square of the view, moved by (dx, dy), with the map's. */
function correlate(seen: Plane, expected: Plane, x: number, y: number, half: number, dx: number, dy: number): number {
  const { width } = seen;
  let [a, b, aa, bb, ab] = [0, 0, 0, 0, 0];
  for (let j = -half; j <= half; j++) {
    const from = (y + j) * width + x;
    const to = (y + j + dy) * width + x + dx;
    for (let i = -half; i <= half; i++) {
      const p = expected.data[from + i]!;
      const q = seen.data[to + i]!;
      a += p;
      b += q;
      aa += p * p;
      bb += q * q;
      ab += p * q;
    }
  }
  const n = (2 * half + 1) ** 2;
  const [va, vb] = [aa - (a * a) / n, bb - (b * b) / n];
  return va > 0 && vb > 0 ? (ab - (a * b) / n) / Math.sqrt(va * vb) : 0;
}
