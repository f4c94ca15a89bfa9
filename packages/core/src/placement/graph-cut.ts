import { AGREE, type LoopTest, MOST_EVIDENCE, testLoop } from './graph-loop.js';
import type { Link, Problem } from './graph-problem.js';
import { type Forest, isBelow, otherEnd, pathBetween } from './graph-tree.js';

/** Links across the cut that a link of the forest makes, by what they say. */
export interface Cut {
  readonly link: Link;
  /** Lower end of the link: the cut parts what hangs below it. */
  readonly below: number;
  readonly size: number;
  /** Those that close on the forest, the link itself first. */
  readonly agreeing: readonly Link[];
  readonly failing: readonly Link[];
  /** Logarithm of the odds that all that agree are false. */
  readonly doubt: number;
}

/** Whether a link that is not in the forest closes its loop on it. */
export function closes(forest: Forest, refuted: ReadonlySet<Link>, link: Link): boolean {
  const test = forest.closing.get(link);
  return test !== undefined && test.ratio <= AGREE && !refuted.has(link);
}

/** The cuts of all links of the forest. */
export function cutsOf(problem: Problem, forest: Forest, usable: readonly Link[], refuted: ReadonlySet<Link>): Cut[] {
  const cuts: Cut[] = [];
  for (let node = 0; node < problem.strips.length + 1; node++) {
    const link = forest.up[node];
    if (!link) continue;
    const across = usable.filter(
      (l) =>
        l !== link &&
        forest.root[l.fixed] === forest.root[node] &&
        forest.root[l.moving] === forest.root[node] &&
        isBelow(forest, node, l.fixed) !== isBelow(forest, node, l.moving),
    );
    const agreeing = across.filter((l) => closes(forest, refuted, l));
    cuts.push({
      link,
      below: node,
      size: (forest.leave[node]! - forest.enter[node]! + 1) / 2,
      agreeing: [link, ...agreeing],
      failing: across.filter((l) => !closes(forest, refuted, l)),
      doubt: doubtOf([link, ...agreeing], (l) => forest.closing.get(l)?.evidence ?? 0),
    });
  }
  return cuts;
}

/** Links that agree on what they say, and the logarithm of the odds that all are false. */
export interface Agreement {
  readonly links: readonly Link[];
  readonly doubt: number;
}

/**
 * Logarithm of the odds that links which agree are all false: their own word on average, so that it decides between
 * equals only, less the evidence of each that joins the first.
 */
function doubtOf(links: readonly Link[], evidence: (link: Link, k: number) => number): number {
  return links.reduce((sum, l, k) => sum + Math.log(l.doubt) / links.length - evidence(l, k), 0);
}

/** Sets of failing links across a cut that agree pairwise, when they could outweigh what holds it. */
export function agreements(problem: Problem, forest: Forest, cut: Cut): Agreement[] {
  const { failing, below } = cut;
  if (failing.length === 0 || doubtOf(failing, (_, k) => (k === 0 ? 0 : MOST_EVIDENCE)) > cut.doubt + SAFE) return [];
  const inside = (l: Link): number => (isBelow(forest, below, l.fixed) ? l.fixed : l.moving);
  return agreeingSets(problem, forest, failing, inside);
}

/** How far behind a set of links may be and still matter. */
const SAFE = 9;

/**
 * Sets of links across a cut that agree pairwise: two agree when the loop through both and the forest on either side
 * closes. `inside` tells a link's end on one side.
 */
export function agreeingSets(
  problem: Problem,
  forest: Forest,
  links: readonly Link[],
  inside: (link: Link) => number,
): Agreement[] {
  return growSets(links, (p, q) => {
    const lower = pathBetween(forest, inside(p), inside(q));
    const upper = pathBetween(forest, otherEnd(q, inside(q)), otherEnd(p, inside(p)));
    return testLoop(problem, otherEnd(p, inside(p)), [p, ...lower, q, ...upper]);
  });
}

/** Sets of links that agree pairwise by the test given, each grown from one of them; without repetitions. */
export function growSets(links: readonly Link[], test: (p: Link, q: Link) => LoopTest): Agreement[] {
  const evidence = new Map<number, number>();
  const pair = (a: number, b: number): number => {
    const key = Math.min(a, b) * links.length + Math.max(a, b);
    const known = evidence.get(key);
    if (known !== undefined) return known;
    const loop = test(links[Math.min(a, b)]!, links[Math.max(a, b)]!);
    const value = loop.ratio <= AGREE ? loop.evidence : -1;
    evidence.set(key, value);
    return value;
  };
  const found = new Map<string, Agreement>();
  for (let seed = 0; seed < links.length; seed++) {
    const others = links.map((_, k) => k).filter((k) => k !== seed && pair(seed, k) >= 0);
    const friends = (k: number): number => others.filter((o) => o !== k && pair(k, o) >= 0).length;
    const members = [seed];
    for (const { k } of others.map((k) => ({ k, n: friends(k) })).sort((a, b) => b.n - a.n || a.k - b.k))
      if (members.every((m) => pair(m, k) >= 0)) members.push(k);
    const key = [...members].sort((a, b) => a - b).join(' ');
    if (found.has(key)) continue;
    const own = members.map((k) => links[k]!);
    found.set(key, { links: own, doubt: doubtOf(own, (l) => (l === own[0] ? 0 : pair(seed, links.indexOf(l)))) });
  }
  return [...found.values()];
}
