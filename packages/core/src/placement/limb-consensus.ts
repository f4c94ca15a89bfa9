import { createRandom } from '../compute/random.js';
import { type Disc, fitDisc } from './fit-disc.js';
import type { LimbCandidate } from './limb-points.js';

/** A circle and how much of the candidates' steps it gathers. */
export interface SeedCircle {
  readonly disc: Disc;
  readonly support: number;
}

/**
 * The circles that most candidates agree with, in position and in direction, best first: random sampling of three
 * points (Fischler & Bolles 1981), each refined on its own points, after which those points are taken away for the
 * next. Seeded. Lengths are px of the candidates' grid; `longestPx` bounds the radius.
 */
export function seedCircles(candidates: readonly LimbCandidate[], most: number, longestPx: number): SeedCircle[] {
  const found: SeedCircle[] = [];
  let left = thinned(candidates);
  while (found.length < most && left.length >= LEAST_POINTS) {
    const best = sample(left, longestPx, found.length);
    if (!best) break;
    const points = left
      .filter((c) => agrees(best, c, 2 * TOLERANCE_PX))
      .map((c) => ({ x: c.x, y: c.y, variance: 0.1 }));
    const disc = fitDisc(points, best)?.disc;
    const refined = disc && supportOf(disc, left) >= supportOf(best, left) ? disc : best;
    found.push({ disc: refined, support: supportOf(refined, left) });
    left = left.filter((c) => !agrees(refined, c, 3 * TOLERANCE_PX));
  }
  return found;
}

const TRIALS = 6000;
const LEAST_TRIALS = 300;
/** Trials that stop early may miss a better circle with this probability. */
const MISS = 1e-8;
const TOLERANCE_PX = 1.2;
const LEAST_POINTS = 12;
const LEAST_RADIUS_PX = 8;
/** Cosine of the largest angle between a candidate's direction and the circle's. */
const LEAST_COSINE = 0.9;
const MOST_POINTS = 600;

function thinned(candidates: readonly LimbCandidate[]): readonly LimbCandidate[] {
  const stride = Math.ceil(candidates.length / MOST_POINTS);
  return candidates.filter((_, i) => i % stride === 0);
}

function sample(points: readonly LimbCandidate[], longestPx: number, round: number): Disc | undefined {
  const random = createRandom(`limb ${round}`);
  const draw = (): LimbCandidate => points[Math.floor(random.uniform() * points.length)]!;
  let best: Disc | undefined;
  let bestSupport = LEAST_POINTS * 0.3;
  for (let trial = 0, needed = TRIALS; trial < needed; trial++) {
    const [p, q, r] = [draw(), draw(), draw()];
    const disc = circleThrough(p, q, r);
    if (!disc || disc.radiusPx < LEAST_RADIUS_PX || disc.radiusPx > longestPx) continue;
    if (![p, q, r].every((c) => agrees(disc, c, TOLERANCE_PX))) continue;
    const support = supportOf(disc, points);
    if (support > bestSupport) {
      best = disc;
      bestSupport = support;
      const hit = (support / points.length) ** 3;
      needed = Math.min(TRIALS, Math.max(LEAST_TRIALS, Math.log(MISS) / Math.log(1 - Math.min(hit, 0.999))));
    }
  }
  return best;
}

function circleThrough(p: LimbCandidate, q: LimbCandidate, r: LimbCandidate): Disc | undefined {
  const bx = q.x - p.x;
  const by = q.y - p.y;
  const cx = r.x - p.x;
  const cy = r.y - p.y;
  const d = 2 * (bx * cy - by * cx);
  if (Math.abs(d) < 1e-6) return undefined;
  const b2 = bx * bx + by * by;
  const c2 = cx * cx + cy * cy;
  const ux = (cy * b2 - by * c2) / d;
  const uy = (bx * c2 - cx * b2) / d;
  return { centreX: p.x + ux, centreY: p.y + uy, radiusPx: Math.hypot(ux, uy), stretch: 1 };
}

function agrees({ centreX, centreY, radiusPx }: Disc, c: LimbCandidate, tolerance: number): boolean {
  const dx = centreX - c.x;
  const dy = centreY - c.y;
  if (Math.abs(Math.sqrt(dx * dx + dy * dy) - radiusPx) > tolerance) return false;
  return dx * c.inwardX + dy * c.inwardY > LEAST_COSINE * radiusPx;
}

/** Candidates that agree, faint ones for less. */
function supportOf(disc: Disc, points: readonly LimbCandidate[]): number {
  let sum = 0;
  for (const c of points) if (agrees(disc, c, TOLERANCE_PX)) sum += Math.min(1, 2 * c.step);
  return sum;
}
