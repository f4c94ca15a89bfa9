import { type Agreement, agreements, type Cut, closes, cutsOf } from './graph-cut.js';
import { improve } from './graph-improve.js';
import { AGREE } from './graph-loop.js';
import { shortLoops } from './graph-loops.js';
import { poll } from './graph-poll.js';
import type { Link, Problem } from './graph-problem.js';
import { type Forest, hang, pathBetween, shallowTree } from './graph-tree.js';

/** What the loops decide: a consistent set of links, and why each other one is out of it. */
export interface Consensus {
  readonly forest: Forest;
  readonly kept: ReadonlySet<Link>;
  /** Posterior probability of kept links that others contradict and few confirm. */
  readonly posterior: ReadonlyMap<Link, number>;
  /** Logarithm of the odds that a link is false, by its own word and by the loops that it closes. */
  readonly doubt: ReadonlyMap<Link, number>;
  /** Links left out although they are as likely as what contradicts them. */
  readonly contested: ReadonlySet<Link>;
}

/**
 * Finds the largest consistent set of links. It starts from the spanning forest of the links whose loops of three and
 * four close best, then exchanges links of the forest: each one parts the strips in two, and of all links across that
 * cut the largest set that agrees pairwise (loops through both) has to hold the two sides together (compare Mangelson
 * et al. 2018, "Pairwise Consistent Measurement Set Maximization"). Votes count, not trust: that two false links agree by accident is far less likely than that one significant link is false. A cut whose
 * winner is not right with `settings.leastPosterior` is left open.
 */
export function consensus(problem: Problem, links: readonly Link[]): Consensus {
  const loops = shortLoops(problem, links);
  const open = loops.filter(({ test }) => test.ratio > AGREE);
  const polled = poll(loops);
  let refuted: ReadonlySet<Link> = polled.refuted;
  const contested = new Set<Link>();
  let usable = links;
  let forest = hang(problem, shallowTree(problem.strips.length + 1, usable, polled), usable);
  for (;;) {
    ({ forest, refuted } = improve(problem, forest, usable, refuted, open));
    const worst = weakestCut(problem, forest, usable, refuted);
    if (!worst) break;
    for (const l of [...worst.agreeing, ...worst.failing]) contested.add(l);
    usable = usable.filter((l) => !contested.has(l));
    forest = hang(
      problem,
      [...forest.inTree].filter((l) => l !== worst.link),
      usable,
    );
  }
  const kept = new Set(usable.filter((l) => forest.inTree.has(l) || closes(forest, refuted, l)));
  const doubt = new Map(usable.map((l) => [l, Math.log(l.doubt) - (forest.closing.get(l)?.evidence ?? 0)]));
  for (const cut of cutsOf(problem, forest, usable, refuted)) doubt.set(cut.link, cut.doubt);
  return { forest, kept, posterior: posteriors(problem, forest, usable, refuted), doubt, contested };
}

/** The cut that is least likely to be held by true links, when that is too little; the smallest side first. */
function weakestCut(problem: Problem, forest: Forest, usable: readonly Link[], refuted: ReadonlySet<Link>): Cut | null {
  const probability = posteriors(problem, forest, usable, refuted);
  let weakest: { cut: Cut; p: number } | null = null;
  for (const cut of cutsOf(problem, forest, usable, refuted)) {
    const p = probability.get(cut.link);
    if (p === undefined || p >= problem.settings.leastPosterior) continue;
    if (!weakest || p < weakest.p - 1e-9 || (p < weakest.p + 1e-9 && cut.size < weakest.cut.size)) weakest = { cut, p };
  }
  return weakest?.cut ?? null;
}

/**
 * Probability that the links that hold a cut are right, where some contradict them: each set of failing links is false
 * itself, or one of the cuts on its way through the forest is; the shares follow the odds.
 */
function posteriors(
  problem: Problem,
  forest: Forest,
  usable: readonly Link[],
  refuted: ReadonlySet<Link>,
): Map<Link, number> {
  const cuts = cutsOf(problem, forest, usable, refuted);
  const doubt = new Map(cuts.map((c) => [c.link, c.doubt]));
  const result = new Map<Link, number>();
  for (const cut of cuts) {
    let p = 1;
    for (const group of disjoint(agreements(problem, forest, cut))) {
      const first = group.links[0]!;
      let total = Math.exp(group.doubt);
      for (const l of pathBetween(forest, first.fixed, first.moving)) total += Math.exp(doubt.get(l)!);
      p *= 1 - Math.exp(cut.doubt) / total;
    }
    if (p < 1) result.set(cut.link, p);
  }
  return result;
}

/** The least doubted sets that have no link in common. */
function disjoint(groups: readonly Agreement[]): Agreement[] {
  const taken = new Set<Link>();
  const sorted = [...groups].sort((a, b) => a.doubt - b.doubt || a.links[0]!.id - b.links[0]!.id);
  return sorted.filter((g) => {
    if (g.links.some((l) => taken.has(l))) return false;
    for (const l of g.links) taken.add(l);
    return true;
  });
}
