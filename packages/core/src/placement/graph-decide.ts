import { bridgesOf, checkLink, type LinkCheck } from './graph-check.js';
import { pollStrips } from './graph-poll-strips.js';
import { createComparison } from './graph-pose.js';
import type { Link, Problem } from './graph-problem.js';
import { compareLink, componentsOf, misfit, type Solved, solveLinks, startState } from './graph-system.js';
import type { Consensus } from './graph-vote.js';

/** The links in use in the end and the solve on them. */
export interface Decision {
  readonly kept: ReadonlySet<Link>;
  readonly solved: Solved;
  /** Checks of all links whose ends are in one component. */
  readonly checks: ReadonlyMap<Link, LinkCheck>;
  readonly bridges: ReadonlySet<Link>;
  /** Links that were in use until the solve of the others contradicted them, and by how much then. */
  readonly dropped: ReadonlyMap<Link, LinkCheck>;
}

/**
 * From a consistent set to the final one: a robust solve of all links (Cauchy's loss, its width narrowed in steps) from
 * the forest's poses, a first cut by its residuals, then plain weighted solves. After each, strips whose used links are
 * contradicted ask all their links to vote once more; then the worst used links that their held-out tests contradict
 * are dropped or, when there is none, what agrees is taken in.
 */
export function decide(problem: Problem, links: readonly Link[], found: Consensus): Decision {
  const candidates = links.filter((l) => !found.contested.has(l));
  const start = startState(problem, found.forest);
  let solved = robustSolve(problem, candidates, found.kept, start);
  const kept = firstCut(problem, candidates, found, solved);
  const dropped = new Map<Link, LinkCheck>();
  const drops = new Map<Link, number>();
  const polled = new Set<number>();
  for (let round = 0; ; round++) {
    solved = solveLinks(problem, inOrder(candidates, kept), solved.state, ITERATIONS);
    const checks = new Map<Link, LinkCheck>();
    for (const l of candidates)
      if (solved.componentOf[l.fixed] === solved.componentOf[l.moving])
        checks.set(l, checkLink(problem, solved, l, kept.has(l)));
    if (pollStrips(problem, candidates, kept, found.kept, solved, checks, polled)) continue;
    const changed =
      round < 2 * candidates.length &&
      (drop(problem, kept, checks, dropped, drops) || takeIn(candidates, kept, checks, drops));
    if (!changed) return { kept, solved, checks, bridges: bridgesOf(problem, kept), dropped };
  }
}

const ITERATIONS = 8;
/** Widths of the robust loss, in units of the setting. */
const WIDTHS = [16, 4, 1, 1] as const;
/** A used link may exceed its limit by this factor before the first cut drops it; the held-out tests do the rest. */
const FIRST_CUT = 4;

function robustSolve(
  problem: Problem,
  candidates: readonly Link[],
  kept: ReadonlySet<Link>,
  start: Float64Array,
): Solved {
  let solved = solveLinks(problem, inOrder(candidates, kept), start, 2);
  for (const width of WIDTHS) {
    const c = problem.settings.cauchy;
    solved = solveLinks(problem, candidates, solved.state, 2, (misfit2, link) => {
      const wide = kept.has(link) ? width * c : c;
      return 1 / (1 + misfit2 / (Math.max(1, link.rank) * wide * wide));
    });
  }
  return solved;
}

function inOrder(candidates: readonly Link[], kept: ReadonlySet<Link>): Link[] {
  return candidates.filter((l) => kept.has(l));
}

function firstCut(problem: Problem, candidates: readonly Link[], found: Consensus, solved: Solved): Set<Link> {
  const comparison = createComparison();
  const off = new Map<Link, number>();
  for (const l of candidates) {
    compareLink(problem, solved.poses, l, comparison);
    off.set(l, misfit(l, comparison.residual) / problem.limits[Math.max(1, l.rank)]!);
  }
  const sorted = inOrder(candidates, found.kept).sort((a, b) => off.get(a)! - off.get(b)! || a.id - b.id);
  const kept = new Set<Link>();
  const pairs = new Set<string>();
  for (const l of sorted) {
    if (off.get(l)! > FIRST_CUT || (!l.isFix && pairs.has(pairOf(l)))) continue;
    kept.add(l);
    pairs.add(pairOf(l));
  }
  // What nothing else joins stays, the least misfitting first.
  for (const l of sorted) {
    if (kept.has(l)) continue;
    const before = componentsOf(problem, kept).length;
    if (componentsOf(problem, [...kept, l]).length < before) kept.add(l);
  }
  return kept;
}

function pairOf(l: Link): string {
  return `${Math.min(l.fixed, l.moving)} ${Math.max(l.fixed, l.moving)}`;
}

/** Drops the most contradicted links that have no strip in common and hold nothing together alone. */
function drop(
  problem: Problem,
  kept: Set<Link>,
  checks: ReadonlyMap<Link, LinkCheck>,
  dropped: Map<Link, LinkCheck>,
  drops: Map<Link, number>,
): boolean {
  const worst = [...kept]
    .filter((l) => (checks.get(l)?.ratio ?? 0) > 1)
    .sort((a, b) => checks.get(b)!.ratio - checks.get(a)!.ratio || a.id - b.id);
  const touched = new Set<number>();
  for (const l of worst) {
    if (touched.has(l.fixed) || touched.has(l.moving) || bridgesOf(problem, kept).has(l)) continue;
    kept.delete(l);
    dropped.set(l, checks.get(l)!);
    drops.set(l, (drops.get(l) ?? 0) + 1);
    touched.add(l.fixed).add(l.moving);
  }
  return touched.size > 0;
}

/** Takes in links that agree with the solve, one of each pair of strips; what was dropped before has one more chance. */
function takeIn(
  candidates: readonly Link[],
  kept: Set<Link>,
  checks: ReadonlyMap<Link, LinkCheck>,
  drops: ReadonlyMap<Link, number>,
): boolean {
  const pairs = new Set([...kept].filter((l) => !l.isFix).map(pairOf));
  const agreeing = candidates
    .filter((l) => !kept.has(l) && (drops.get(l) ?? 0) < 2 && checks.has(l) && checks.get(l)!.ratio <= 1)
    .sort((a, b) => checks.get(a)!.ratio - checks.get(b)!.ratio || a.id - b.id);
  let changed = false;
  for (const l of agreeing) {
    if (!l.isFix && pairs.has(pairOf(l))) continue;
    kept.add(l);
    pairs.add(pairOf(l));
    changed = true;
  }
  return changed;
}
