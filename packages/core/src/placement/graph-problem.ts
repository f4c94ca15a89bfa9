import { type Affine, applyX, applyY, compose, invert, poseAbout } from '../compute/affine.js';
import { invertSymmetric } from '../compute/small-solve.js';
import { UsageError } from '../job/errors.js';
import { chi2Limit } from './graph-chi2.js';
import type { LoopTest } from './graph-loop.js';
import { DOF, eigenSymmetric } from './graph-matrix.js';
import type { Comparable, Point } from './graph-pose.js';
import type { EdgeReason, GraphEdge, GraphFix, GraphSettings, GraphStrip } from './graph-types.js';

/** An edge or fix made ready. Strips are counted in the canonical order; the common space is the node after the last. */
export interface Link extends Comparable {
  /** Index among the links. */
  readonly id: number;
  /** Index among the edges or the fixes that were given. */
  readonly given: number;
  readonly isFix: boolean;
  readonly fixed: number;
  readonly moving: number;
  readonly back: Affine;
  readonly halfWidthPx: number;
  readonly halfHeightPx: number;
  readonly information: Float64Array;
  /** Rows that whiten the measured part of a residual: rank × 5. */
  readonly whitener: Float64Array;
  readonly rank: number;
  /** Takes a whitened residual back to the five parameters, 5 × rank; what only the priors inform on is left at 0. */
  readonly unwhitener: Float64Array;
  /** Pose and covariance under the priors, for loops. */
  readonly loopPose: Affine;
  readonly loopBack: Affine;
  readonly loopCovariance: Float64Array;
  readonly probability: number;
  /** Odds that it is false by its own word, which counts for 9 to 1 at most either way: votes of others decide. */
  readonly doubt: number;
}

/** The graph in an order that depends on what was measured, not on how it was listed. */
export interface Problem {
  readonly strips: readonly (GraphStrip & { readonly centre: Point })[];
  /** Given index of each strip. */
  readonly givenStrip: readonly number[];
  readonly reference: number;
  readonly links: readonly Link[];
  readonly malformed: readonly { readonly isFix: boolean; readonly given: number; readonly detail: string }[];
  readonly settings: GraphSettings;
  /** Limit of χ² by dimensions. */
  readonly limits: readonly number[];
  /** 1 σ of each parameter of an edge before it is measured. */
  readonly priorSigma: Float64Array;
  /** Area of the smallest strip, px². */
  readonly leastGround: number;
  /** Loops that were tested before, by their links: the same ones come up again and again. */
  readonly tests: Map<string, LoopTest>;
}

/** What became of a link so far: null while it is in use. */
export interface Fate {
  readonly reason: EdgeReason;
  readonly detail: string;
}

/** Checks the input and puts it in the canonical order. Throws UsageError for settings, strips or indices out of range. */
export function prepare(
  strips: readonly GraphStrip[],
  edges: readonly GraphEdge[],
  settings: GraphSettings,
  fixes: readonly GraphFix[],
): Problem {
  checkSettings(settings, strips.length);
  strips.forEach((s, i) => {
    if (!(s.widthPx > 0 && s.heightPx > 0 && Number.isFinite(s.widthPx + s.heightPx)))
      throw new UsageError(`Strip ${i} is ${s.widthPx} x ${s.heightPx} px; give its size in px, above 0.`);
  });
  const inRange = (s: number): boolean => Number.isInteger(s) && s >= 0 && s < strips.length;
  for (const [k, e] of edges.entries())
    if (!inRange(e.fixed) || !inRange(e.moving) || e.fixed === e.moving)
      throw new UsageError(`Edge ${k} joins strips ${e.fixed} and ${e.moving}; give two of 0 to ${strips.length - 1}.`);
  for (const [k, f] of fixes.entries())
    if (!inRange(f.strip))
      throw new UsageError(`Fix ${k} is of strip ${f.strip}; give one of 0 to ${strips.length - 1}.`);
  const priorSigma = Float64Array.of(
    UNMEASURED_SHIFT_PX,
    UNMEASURED_SHIFT_PX,
    (settings.turnSigmaDeg * Math.PI) / 180,
    Math.SQRT2 * settings.scaleSigma,
    Math.SQRT2 * settings.squeezeSigma,
  );
  const sortedEdges = canonical(edges);
  const rank = new Map<number, number>();
  const name = (s: number): void => void (rank.has(s) || rank.set(s, rank.size));
  for (const e of sortedEdges) {
    name(e.item.fixed);
    name(e.item.moving);
  }
  const sortedFixes = canonical(fixes);
  for (const f of sortedFixes) name(f.item.strip);
  for (let s = 0; s < strips.length; s++) name(s);
  const links: Link[] = [];
  const malformed: { isFix: boolean; given: number; detail: string }[] = [];
  const take = (item: GraphEdge | GraphFix, given: number): void => {
    const isFix = 'strip' in item;
    const ends = isFix
      ? { fixed: strips.length, moving: rank.get(item.strip)! }
      : { fixed: rank.get(item.fixed)!, moving: rank.get(item.moving)! };
    const link = linkOf(item, { id: links.length, given, isFix, ...ends }, priorSigma);
    if (typeof link === 'string') malformed.push({ isFix, given, detail: link });
    else links.push(link);
  };
  for (const e of sortedEdges) take(e.item, e.given);
  for (const f of sortedFixes) take(f.item, f.given);
  const givenStrip = [...rank.keys()];
  return {
    strips: givenStrip.map((s) => ({
      ...strips[s]!,
      centre: { x: (strips[s]!.widthPx - 1) / 2, y: (strips[s]!.heightPx - 1) / 2 },
    })),
    givenStrip,
    reference: settings.reference === undefined ? -1 : rank.get(settings.reference)!,
    links,
    malformed,
    settings,
    limits: [0, 1, 2, 3, 4, 5].map((n) => (n === 0 ? 0 : chi2Limit(settings.falseAlarm, n))),
    priorSigma,
    leastGround: Math.min(...strips.map((s) => s.widthPx * s.heightPx)),
    tests: new Map(),
  };
}

const UNMEASURED_SHIFT_PX = 1e4;
/** Directions with less than this share of the information count as unmeasured. */
const LEAST_INFORMATION = 1e-12;

const MOST_TRUST = 0.9;
const LEAST_TRUST = 0.1;

function checkSettings(s: GraphSettings, strips: number): void {
  for (const key of ['scaleSigma', 'squeezeSigma', 'turnSigmaDeg', 'cauchy'] as const)
    if (!(s[key] > 0 && s[key] < 1e6)) throw new UsageError(`${key} is ${s[key]}; give a number above 0.`);
  for (const key of ['falseAlarm', 'leastPosterior'] as const)
    if (!(s[key] > 0 && s[key] < 1)) throw new UsageError(`${key} is ${s[key]}; give a number between 0 and 1.`);
  if (!(s.maxLoops >= 1)) throw new UsageError(`maxLoops is ${s.maxLoops}; give 1 or more.`);
  if (s.reference !== undefined && !(Number.isInteger(s.reference) && s.reference >= 0 && s.reference < strips))
    throw new UsageError(`reference is ${s.reference}; give the index of one of the ${strips} strips.`);
}

/** Sorted by their figures. */
function canonical<T extends GraphEdge | GraphFix>(items: readonly T[]): { item: T; given: number }[] {
  const keyed = items.map((item, given) => {
    const { pose: p, at, halfWidthPx, halfHeightPx, probability, information } = item;
    const key = [p.tx, p.ty, p.xx, p.xy, p.yx, p.yy, at.x, at.y, halfWidthPx, halfHeightPx, probability];
    return { item, given, key: [...key, ...Array.from(information)].map((v) => (Number.isNaN(v) ? -1e300 : v)) };
  });
  return keyed.sort((a, b) => {
    for (let k = 0; k < a.key.length; k++) if (a.key[k] !== b.key[k]) return a.key[k]! < b.key[k]! ? -1 : 1;
    return a.given - b.given;
  });
}

/** A link from a measurement, or what is wrong with it. */
export function linkOf(
  item: GraphEdge | GraphFix,
  ends: Pick<Link, 'id' | 'given' | 'isFix' | 'fixed' | 'moving'>,
  priorSigma: Float64Array,
): Link | string {
  const { pose, at, halfWidthPx, halfHeightPx, probability } = item;
  const figures = [pose.xx, pose.xy, pose.yx, pose.yy, pose.tx, pose.ty, at.x, at.y, halfWidthPx, halfHeightPx];
  if (item.information.length !== DOF * DOF) return `${item.information.length} figures of information; 25 are needed`;
  if (![...figures, ...Array.from(item.information)].every((v) => Math.abs(v) < 1e15)) return 'a figure is not finite';
  if (!(probability >= 0 && probability <= 1)) return `the probability is ${probability}; 0 to 1 is needed`;
  if (!(halfWidthPx >= 0 && halfHeightPx >= 0)) return 'the overlap has a negative side';
  const det = pose.xx * pose.yy - pose.xy * pose.yx;
  if (!(det > 1e-6 && Math.hypot(pose.xx, pose.xy) > 1e-3)) return 'the pose mirrors or collapses the strip';
  const information = symmetric(item.information);
  // The edge always says something on the turn: the camera was aimed again by hand, not thrown about.
  information[2 * DOF + 2]! += 1 / priorSigma[2]! ** 2;
  const whitened = whiten(information, Math.max(1, halfWidthPx, halfHeightPx), 1 / priorSigma[2]! ** 2);
  if (!whitened) return 'the information is not positive semi-definite';
  const back = invert(pose);
  const seenAt = { x: applyX(pose, at.x, at.y), y: applyY(pose, at.x, at.y) };
  const loop = underPriors({ pose, inverse: back, at, seenAt }, information, priorSigma, ends.isFix);
  return {
    ...ends,
    pose,
    back,
    inverse: back,
    at,
    seenAt,
    halfWidthPx,
    halfHeightPx,
    information,
    ...whitened,
    loopPose: loop.pose,
    loopBack: invert(loop.pose),
    loopCovariance: loop.covariance,
    probability,
    doubt: 1 / Math.min(MOST_TRUST, Math.max(LEAST_TRUST, probability)) - 1,
  };
}

function symmetric(m: ArrayLike<number>): Float64Array {
  return Float64Array.from({ length: DOF * DOF }, (_, k) => {
    const i = Math.floor(k / DOF);
    const j = k % DOF;
    return (m[i * DOF + j]! + m[j * DOF + i]!) / 2;
  });
}

/** Rows √μ·vᵀ of the information's measured directions, with turns and stretches counted in px at `reachPx`. */
function whiten(
  information: Float64Array,
  reachPx: number,
  turnPrior: number,
): Pick<Link, 'whitener' | 'unwhitener' | 'rank'> | null {
  const unit = [1, 1, reachPx, reachPx, reachPx];
  const scaled = information.map((v, k) => v / (unit[Math.floor(k / DOF)]! * unit[k % DOF]!));
  const { values, vectors } = eigenSymmetric(scaled, DOF);
  const most = Math.max(...values);
  if (!(most > 0) || Math.min(...values) < -1e-9 * most) return null;
  const used = [0, 1, 2, 3, 4].filter((d) => values[d]! > LEAST_INFORMATION * most);
  const rank = used.length;
  const whitener = new Float64Array(rank * DOF);
  const unwhitener = new Float64Array(DOF * rank);
  used.forEach((d, row) => {
    const fromPrior = (turnPrior * vectors[d * DOF + 2]! ** 2) / (reachPx ** 2 * values[d]!);
    for (let k = 0; k < DOF; k++) {
      whitener[row * DOF + k] = Math.sqrt(values[d]!) * vectors[d * DOF + k]! * unit[k]!;
      if (fromPrior < 0.5) unwhitener[k * rank + row] = vectors[d * DOF + k]! / (Math.sqrt(values[d]!) * unit[k]!);
    }
  });
  return { whitener, unwhitener, rank };
}

/** What the edge says once the priors on scale and squeeze are taken in. */
function underPriors(
  link: Comparable,
  information: Float64Array,
  priorSigma: Float64Array,
  isFix: boolean,
): { pose: Affine; covariance: Float64Array } {
  const total = Float64Array.from(information);
  for (let k = 0; k < DOF; k++) if (k !== 2) total[k * DOF + k]! += 1 / priorSigma[k]! ** 2;
  const unit = priorSigma;
  const scaled = total.map((v, k) => v * unit[Math.floor(k / DOF)]! * unit[k % DOF]!);
  const inverse = invertSymmetric(scaled, DOF);
  const covariance = inverse
    ? inverse.map((v, k) => v * unit[Math.floor(k / DOF)]! * unit[k % DOF]!)
    : Float64Array.from({ length: DOF * DOF }, (_, k) => (k % (DOF + 1) === 0 ? unit[k % DOF]! ** 2 : 0));
  if (isFix) return { pose: link.pose, covariance };
  // The prior pulls log scale and log squeeze to 0; their correlations move shift and turn along.
  const scale = Math.log(Math.hypot(link.pose.xx, link.pose.xy));
  const squeeze = Math.log(Math.hypot(link.pose.yx, link.pose.yy)) - scale;
  const pull = [3, 4].map((k) => -[scale, squeeze][k - 3]! / unit[k]! ** 2);
  const step = Array.from(
    { length: DOF },
    (_, k) => covariance[k * DOF + 3]! * pull[0]! + covariance[k * DOF + 4]! * pull[1]!,
  );
  const change = poseAbout(link.seenAt, {
    shiftX: step[0]!,
    shiftY: step[1]!,
    rotationDeg: (step[2]! * 180) / Math.PI,
    scale: Math.exp(step[3]!),
    squeeze: Math.exp(step[4]!),
  });
  return { pose: compose(change, link.pose), covariance };
}
