import { type Affine, applyX, applyY, compose, IDENTITY, invert, poseAbout } from '../src/compute/affine.js';
import type { Random } from '../src/compute/random.js';
import { invertSymmetric } from '../src/compute/small-solve.js';
import type { GraphEdge, GraphStrip } from '../src/placement/graph-types.js';

/** Size of every strip of the test graphs, px, and the middle of one. */
export const STRIP: GraphStrip = { widthPx: 1000, heightPx: 700 };
export const MIDDLE = { x: (STRIP.widthPx - 1) / 2, y: (STRIP.heightPx - 1) / 2 };

/**
 * Poses of rows × columns strips in random order, each a quarter over its neighbours, turned up to 3°, with scale and
 * squeeze as the priors have them. Strip 0 lies where the common space is.
 */
export function stripPoses(rows: number, columns: number, random: Random): Affine[] {
  const cells = Array.from({ length: rows * columns }, (_, k) => k);
  for (let k = cells.length - 1; k > 0; k--) {
    const other = Math.floor(random.uniform() * (k + 1));
    [cells[k], cells[other]] = [cells[other]!, cells[k]!];
  }
  const place = (cell: number) => ({ x: (cell % columns) * 750, y: Math.floor(cell / columns) * 525 });
  const origin = place(cells[0]!);
  return cells.map((cell, k) =>
    poseAbout(MIDDLE, {
      shiftX: place(cell).x - origin.x + (k === 0 ? 0 : 40 * (random.uniform() - 0.5)),
      shiftY: place(cell).y - origin.y + (k === 0 ? 0 : 40 * (random.uniform() - 0.5)),
      rotationDeg: k === 0 ? 0 : 6 * (random.uniform() - 0.5),
      scale: Math.exp(1e-4 * random.normal()),
      squeeze: Math.exp(8e-4 * random.normal()),
    }),
  );
}

/** Pairs of strips that share ground, either one called fixed. */
export function overlappingPairs(truth: readonly Affine[], random: Random): [number, number][] {
  const pairs: [number, number][] = [];
  for (let i = 0; i < truth.length; i++)
    for (let j = i + 1; j < truth.length; j++) {
      const a = middleOf(truth[i]!);
      const b = middleOf(truth[j]!);
      if (Math.abs(a.x - b.x) < STRIP.widthPx - 120 && Math.abs(a.y - b.y) < STRIP.heightPx - 120)
        pairs.push(random.uniform() < 0.5 ? [i, j] : [j, i]);
    }
  return pairs;
}

/** How an edge departs from the truth. */
export interface EdgeOptions {
  /** Displacement of the moving strip in the common space. */
  readonly wrong?: Affine;
  /** The stated spreads are divided by this. */
  readonly sharp?: number;
  readonly probability?: number;
  /** 0 for an edge without noise. */
  readonly noise?: number;
}

/** An edge whose noise is drawn from its covariance, which twelve patches over the overlap would give. */
export function edgeBetween(
  truth: readonly Affine[],
  fixed: number,
  moving: number,
  random: Random,
  { wrong = IDENTITY, sharp = 1, probability = 0.8, noise = 1 }: EdgeOptions = {},
): GraphEdge {
  const relative = compose(invert(truth[fixed]!), compose(wrong, truth[moving]!));
  const a = middleOf(truth[fixed]!);
  const b = middleOf(truth[moving]!);
  const halfWidthPx = Math.max(60, (STRIP.widthPx - Math.abs(a.x - b.x)) / 2);
  const halfHeightPx = Math.max(60, (STRIP.heightPx - Math.abs(a.y - b.y)) / 2);
  const back = invert(truth[moving]!);
  const between = { x: (a.x + b.x) / 2, y: (a.y + b.y) / 2 };
  const at = { x: applyX(back, between.x, between.y), y: applyY(back, between.x, between.y) };
  const patchPx = (0.05 + 0.15 * random.uniform()) / sharp;
  const lever = Math.hypot(halfWidthPx, halfHeightPx) / Math.sqrt(3);
  const spread = [1, 1, 1 / lever, 1 / lever, (1.5 * Math.sqrt(3)) / halfHeightPx].map(
    (s) => (s * patchPx) / Math.sqrt(12),
  );
  const factor = new Float64Array(25);
  for (let i = 0; i < 5; i++)
    for (let j = 0; j <= i; j++) factor[i * 5 + j] = i === j ? spread[i]! : 0.3 * spread[i]! * (random.uniform() - 0.5);
  const unit = (k: number): number => spread[Math.floor(k / 5)]! * spread[k % 5]!;
  const covariance = new Float64Array(25);
  for (let k = 0; k < 25; k++)
    for (let m = 0; m < 5; m++) covariance[k]! += factor[Math.floor(k / 5) * 5 + m]! * factor[(k % 5) * 5 + m]!;
  const information = invertSymmetric(
    covariance.map((v, k) => v / unit(k)),
    5,
  )!.map((v, k) => v / unit(k));
  const drawn = spread.map(() => noise * random.normal());
  const error = spread.map((_, i) => drawn.reduce((sum, d, k) => sum + factor[i * 5 + k]! * d, 0));
  const change = poseAbout(
    { x: applyX(relative, at.x, at.y), y: applyY(relative, at.x, at.y) },
    {
      shiftX: error[0]!,
      shiftY: error[1]!,
      rotationDeg: (error[2]! * 180) / Math.PI,
      scale: Math.exp(error[3]!),
      squeeze: Math.exp(error[4]!),
    },
  );
  return { fixed, moving, pose: compose(change, relative), at, halfWidthPx, halfHeightPx, information, probability };
}

/** Where the middle of a strip lies in the common space. */
export function middleOf(pose: Affine): { x: number; y: number } {
  return { x: applyX(pose, MIDDLE.x, MIDDLE.y), y: applyY(pose, MIDDLE.x, MIDDLE.y) };
}

/** A graph with known poses, of which some edges are false. */
export interface FalseGraph {
  readonly truth: readonly Affine[];
  readonly edges: readonly GraphEdge[];
  readonly isFalse: readonly boolean[];
}

/**
 * A graph of which `share` of the edges is false by 2 to 300 px, half of them turned as well. In the hard one the false
 * edges state a quarter of the spread and a probability of 0.99, and most come in sets of two or three that agree on
 * where they lay a strip. What agrees is always less than the true ways that join the strip to the others: with as many
 * on either side nothing could tell them apart.
 */
export function falseGraph(rows: number, columns: number, share: number, hard: boolean, random: Random): FalseGraph {
  for (;;) {
    const truth = stripPoses(rows, columns, random);
    const pairs = overlappingPairs(truth, random);
    const wanted = Math.round(share * pairs.length);
    const wrong = new Map<number, Affine>();
    const sets: { strip: number; members: number[] }[] = [];
    while (hard && wrong.size < 0.6 * wanted) {
      const strip = Math.floor(random.uniform() * truth.length);
      const own = pairs.flatMap((p, k) => (p.includes(strip) && !wrong.has(k) ? [k] : []));
      const count = Math.min(2 + Math.floor(2 * random.uniform()), wanted - wrong.size, Math.ceil(own.length / 2) - 1);
      if (count < 2) continue;
      const moved = displacement(middleOf(truth[strip]!), random);
      const members = Array.from({ length: count }, () => own.splice(Math.floor(random.uniform() * own.length), 1)[0]!);
      for (const k of members) wrong.set(k, pairs[k]![1] === strip ? moved : invert(moved));
      sets.push({ strip, members });
    }
    while (wrong.size < wanted) {
      const k = Math.floor(random.uniform() * pairs.length);
      if (!wrong.has(k)) wrong.set(k, displacement(middleOf(truth[pairs[k]![1]]!), random));
    }
    const left = pairs.filter((_, k) => !wrong.has(k));
    const ends = (members: readonly number[]) => members.map((k) => pairs[k]!);
    const told =
      truth.every(
        (_, s) =>
          waysBetween(
            left,
            s,
            truth.map((__, o) => o).filter((o) => o !== s),
          ) > 1,
      ) &&
      truth.every((_, s) => s === 0 || waysBetween(left, s, [0]) > 1) &&
      sets.every(({ strip, members }) => {
        const others = ends(members).map(([a, b]) => (a === strip ? b : a));
        return waysBetween(left, strip, others) > members.length;
      });
    if (!told) continue;
    const edges = pairs.map(([fixed, moving], k) => {
      const by = wrong.get(k);
      const probability = by ? (hard ? 0.99 : 0.3 + 0.6 * random.uniform()) : 0.6 + 0.35 * random.uniform();
      return edgeBetween(truth, fixed, moving, random, {
        probability,
        sharp: by && hard ? 4 : 1,
        ...(by ? { wrong: by } : {}),
      });
    });
    return { truth, edges, isFalse: pairs.map((_, k) => wrong.has(k)) };
  }
}

function displacement(about: { readonly x: number; readonly y: number }, random: Random): Affine {
  const px = 2 * 150 ** random.uniform();
  const angle = 2 * Math.PI * random.uniform();
  const rotationDeg = random.uniform() < 0.5 ? 0 : random.normal();
  return poseAbout(about, { shiftX: px * Math.cos(angle), shiftY: px * Math.sin(angle), rotationDeg });
}

/** Ways from a strip to any of others that share no edge (Ford and Fulkerson's augmenting paths). */
function waysBetween(pairs: readonly (readonly [number, number])[], from: number, targets: readonly number[]): number {
  const flow = pairs.map(() => 0);
  for (let ways = 0; ; ways++) {
    const via = new Map<number, { node: number; k: number; sign: number } | null>([[from, null]]);
    const queue = [from];
    for (const node of queue)
      pairs.forEach(([a, b], k) => {
        if (a !== node && b !== node) return;
        const next = a === node ? b : a;
        const sign = a === node ? 1 : -1;
        if (via.has(next) || flow[k] === sign) return;
        via.set(next, { node, k, sign });
        queue.push(next);
      });
    const end = targets.find((t) => via.has(t));
    if (end === undefined) return ways;
    for (let step = via.get(end); step; step = via.get(step.node)) flow[step.k]! += step.sign;
  }
}
