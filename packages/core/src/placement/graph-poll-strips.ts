import { compose, invert } from '../compute/affine.js';
import { type LinkCheck, predictedCovariance } from './graph-check.js';
import { growSets } from './graph-cut.js';
import { measureLoop } from './graph-loop.js';
import { DOF } from './graph-matrix.js';
import { type Link, linkOf, type Problem } from './graph-problem.js';
import { type Solved, solveLinks } from './graph-system.js';
import { otherEnd } from './graph-tree.js';

/**
 * Lets the links of strips of which the solve contradicts some that were `consistent` vote on the strip's place, with all other strips solved without it: in that
 * solve the loops between its links are as precise as can be, and a false link of high precision cannot bend it. The
 * largest set that agrees is kept. Each strip votes once (`polled`). Returns whether a set was changed.
 */
export function pollStrips(
  problem: Problem,
  candidates: readonly Link[],
  kept: Set<Link>,
  consistent: ReadonlySet<Link>,
  solved: Solved,
  checks: ReadonlyMap<Link, LinkCheck>,
  polled: Set<number>,
): boolean {
  const contradicted = new Map<number, number>();
  for (const l of candidates)
    if ((kept.has(l) || consistent.has(l)) && (checks.get(l)?.ratio ?? 0) > 1)
      for (const s of [l.fixed, l.moving]) if (!polled.has(s)) contradicted.set(s, (contradicted.get(s) ?? 0) + 1);
  const strips = [...contradicted]
    .filter(([s, links]) => links > 1 && s < problem.strips.length)
    .sort(([a, p], [b, q]) => q - p || a - b);
  for (const [strip] of strips) {
    polled.add(strip);
    if (pollStrip(problem, candidates, kept, solved, strip)) return true;
  }
  return false;
}

function pollStrip(
  problem: Problem,
  candidates: readonly Link[],
  kept: Set<Link>,
  solved: Solved,
  strip: number,
): boolean {
  const of = (l: Link): boolean => l.fixed === strip || l.moving === strip;
  const others = candidates.filter((l) => kept.has(l) && !of(l));
  const rest = solveLinks(problem, others, solved.state, ITERATIONS);
  const own = candidates.filter(of);
  const home = rest.componentOf[otherEnd(own[0]!, strip)];
  if (home === -1 || own.some((l) => rest.componentOf[otherEnd(l, strip)] !== home)) return false;
  const sets = growSets(own, (p, q) => {
    const a = otherEnd(p, strip);
    const b = otherEnd(q, strip);
    const way = a === b ? [] : [between(problem, rest, b, a)];
    return measureLoop(problem, a, [p, q, ...way]);
  });
  const winner = sets.sort((a, b) => a.doubt - b.doubt || a.links[0]!.id - b.links[0]!.id)[0]!.links;
  const before = own.filter((l) => kept.has(l));
  if (winner.length < 2 || (before.length === winner.length && before.every((l) => winner.includes(l)))) return false;
  for (const l of own) kept.delete(l);
  for (const l of winner) kept.add(l);
  return true;
}

const ITERATIONS = 6;

/** What a solve says on two strips, as a link from one to the other. */
function between(problem: Problem, solved: Solved, fixed: number, moving: number): Link {
  const pose = compose(invert(solved.poses[fixed]!), solved.poses[moving]!);
  const at = problem.strips[moving]?.centre ?? { x: 0, y: 0 };
  const ends = { id: -1, given: -1, isFix: false, fixed, moving };
  const plain = { pose, at, halfWidthPx: 100, halfHeightPx: 100, probability: 1 };
  const information = Array.from({ length: DOF * DOF }, (_, k) => (k % (DOF + 1) === 0 ? 1 : 0));
  const link = linkOf({ ...plain, fixed, moving, information }, ends, problem.priorSigma) as Link;
  const covariance = predictedCovariance(problem, solved, link);
  return { ...link, loopPose: pose, loopBack: invert(pose), loopCovariance: covariance };
}
