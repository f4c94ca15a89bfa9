import { agreements, type Cut, closes, cutsOf, growSets } from './graph-cut.js';
import { AGREE, MOST_EVIDENCE, testLoop } from './graph-loop.js';
import type { Loop } from './graph-loops.js';
import type { Link, Problem } from './graph-problem.js';
import { type Forest, hang, otherEnd, pathBetween, shallowTree, shortestWay, spanning } from './graph-tree.js';

/** An exchange of the link of a cut for a set that agrees on something else, and how much that lowers the doubt. */
interface Exchange {
  readonly gain: number;
  readonly cut: Cut;
  readonly by: readonly Link[];
}

/** A forest and the links that count as refuted with it. */
interface State {
  readonly forest: Forest;
  readonly refuted: ReadonlySet<Link>;
}

/**
 * Raises what speaks for the kept links: exchanges links of the forest and places single strips anew by what most of
 * their links say, as long as that gains; then tries steps that nearly gain, each followed by those that gain then (two
 * neighbours that are both wrong do not confirm each other's true links).
 */
export function improve(
  problem: Problem,
  start: Forest,
  usable: readonly Link[],
  polled: ReadonlySet<Link>,
  open: readonly Loop[],
): State {
  const search = { problem, usable, open };
  let state = climb(search, rate(search, { forest: start, refuted: polled }), -1);
  for (let rounds = 0, improved = true; improved && rounds < MOST_ROUNDS; rounds++) {
    improved = false;
    let tries = 0;
    for (const { next, strip } of kicks(search, state)) {
      if (tries++ >= MOST_TRIES) break;
      const other = climb(search, rate(search, next), strip);
      improved = other.value > state.value + LEAST_GAIN;
      if (improved) state = other;
      if (improved) break;
    }
  }
  return state;
}

interface Search {
  readonly problem: Problem;
  readonly usable: readonly Link[];
  /** Short loops that do not close. */
  readonly open: readonly Loop[];
}

interface Rated extends State {
  readonly value: number;
}

/** Steps that gain, until none does; the strip that was just moved on trial stays where it is. */
function climb(search: Search, start: Rated, except: number): Rated {
  const { problem, usable } = search;
  let state = start;
  for (let rounds = 0, improved = true; improved && rounds < MOST_ROUNDS; rounds++) {
    improved = false;
    for (const strip of doubtfulStrips(problem, state, usable)) {
      const next = strip === except ? null : placeAnew(search, state, strip, 0);
      const other = next && rate(search, next);
      if (!other || other.value < state.value + LEAST_GAIN) continue;
      state = other;
      improved = true;
      break;
    }
    if (improved) continue;
    const other = rate(search, descend(problem, state, usable));
    improved = other.value > state.value + LEAST_GAIN;
    if (improved) state = other;
  }
  return state;
}

function rate(search: Search, state: State): Rated {
  return { ...state, value: worth(state, search.usable, search.open) };
}

/** Steps that nearly gain, and the strip that they place, −1 for none. */
function* kicks(search: Search, state: State): Generator<{ readonly next: State; readonly strip: number }> {
  const { problem, usable } = search;
  for (const strip of doubtfulStrips(problem, state, usable)) {
    for (const choice of [0, 1]) {
      const next = placeAnew(search, state, strip, choice);
      if (next) yield { next, strip };
    }
  }
  for (const root of unexplained(state, usable).slice(0, MOST_ROOTS))
    yield { next: rehang(problem, state, usable, root), strip: -1 };
  for (const exchange of exchanges(problem, state, usable)) {
    if (exchange.gain < -NEARLY) break;
    yield { next: apply(problem, state, usable, exchange), strip: -1 };
  }
}

/** Ends of links that fail although the short loops did not refute them. */
function unexplained({ forest, refuted }: State, usable: readonly Link[]): number[] {
  const failing = usable.filter((l) => !forest.inTree.has(l) && !refuted.has(l) && !closes(forest, refuted, l));
  return [...new Set(failing.flatMap((l) => [l.fixed, l.moving]))].sort((a, b) => a - b);
}

/** The same kept links on another forest, grown from one strip: it makes other cuts. */
function rehang(problem: Problem, { forest, refuted }: State, usable: readonly Link[], root: number): State {
  const out = usable.filter((l) => !forest.inTree.has(l) && !closes(forest, refuted, l));
  const ways = { refuted: new Set(out), support: () => 1 };
  return { forest: hang(problem, shallowTree(problem.strips.length + 1, usable, ways, root), usable), refuted };
}

/** Strips of which nearly as many links fail as close, the worst first. */
function doubtfulStrips(problem: Problem, { forest, refuted }: State, usable: readonly Link[]): number[] {
  const balance = new Map<number, { failing: number; closing: number }>();
  for (const l of usable) {
    const fails = !forest.inTree.has(l) && !closes(forest, refuted, l);
    for (const s of [l.fixed, l.moving]) {
      const own = balance.get(s) ?? { failing: 0, closing: 0 };
      balance.set(s, { failing: own.failing + Number(fails), closing: own.closing + Number(!fails) });
    }
  }
  return [...balance]
    .filter(([s, { failing, closing }]) => s < problem.strips.length && failing > 1 && failing + 1 >= closing)
    .sort(([a, p], [b, q]) => q.failing - q.closing - (p.failing - p.closing) || a - b)
    .map(([s]) => s);
}

/**
 * Takes one strip out of the forest and hangs it up by the links of it that most agree, or by the next such set
 * (`choice` 1) when that is nearly as large. Null when there is none, or when the strip joins others.
 */
function placeAnew(
  { problem, usable, open }: Search,
  { forest, refuted }: State,
  strip: number,
  choice: number,
): State | null {
  const of = (l: Link): boolean => l.fixed === strip || l.moving === strip;
  const rank = (l: Link): number => (forest.inTree.has(l) ? 0 : closes(forest, refuted, l) ? 1 : 2);
  const rest = usable.filter((l) => !of(l)).sort((a, b) => rank(a) - rank(b) || a.id - b.id);
  const tree = spanning(problem.strips.length + 1, rest);
  const without = hang(problem, tree, []);
  const own = usable.filter((l) => of(l));
  const root = without.root[otherEnd(own[0]!, strip)];
  if (own.some((l) => without.root[otherEnd(l, strip)] !== root)) return null;
  const trusted = new Set(rest.filter((l) => rank(l) < 2));
  const apart = (p: Link, q: Link): boolean =>
    open.some(({ links }) => {
      const [a, b, ...more] = links.filter(of);
      const both = more.length === 0 && ((a === p && b === q) || (a === q && b === p));
      return both && links.every((l) => of(l) || trusted.has(l));
    });
  const sets = growSets(own, (p, q) => {
    const [from, to] = [otherEnd(q, strip), otherEnd(p, strip)];
    const way = shortestWay(trusted, from, to) ?? pathBetween(without, from, to);
    const test = testLoop(problem, to, [p, q, ...way]);
    return test.ratio <= AGREE && apart(p, q) ? { ...test, ratio: Number.POSITIVE_INFINITY } : test;
  }).sort((a, b) => a.doubt - b.doubt || a.links[0]!.id - b.links[0]!.id);
  const chosen = sets[choice];
  if (!chosen || chosen.doubt > sets[0]!.doubt + NEARLY) return null;
  const winner = chosen.links;
  const other = new Set([...refuted, ...own]);
  for (const l of winner) other.delete(l);
  return { forest: hang(problem, [...tree, winner[0]!], usable), refuted: other };
}

const LEAST_GAIN = 1e-6;
/** What the links' own word counts beside the votes: it decides between equals. */
const TRUST = 0.01;
/** An exchange that loses no more than about one vote is worth a try; so many are tried at most. */
const NEARLY = 8;
const MOST_TRIES = 40;
const MOST_ROUNDS = 60;
const MOST_ROOTS = 12;

function descend(problem: Problem, start: State, usable: readonly Link[]): State {
  let state = start;
  for (let round = 0; round < 2 * problem.strips.length; round++) {
    const best = exchanges(problem, state, usable)[0];
    if (!best || best.gain < LEAST_GAIN) break;
    state = apply(problem, state, usable, best);
  }
  return state;
}

/** All exchanges that are not far from a gain, the best first. */
function exchanges(problem: Problem, { forest, refuted }: State, usable: readonly Link[]): Exchange[] {
  return cutsOf(problem, forest, usable, refuted)
    .flatMap((cut) =>
      agreements(problem, forest, cut).map((group) => ({ gain: cut.doubt - group.doubt, cut, by: group.links })),
    )
    .sort((a, b) => b.gain - a.gain || a.cut.below - b.cut.below || a.by[0]!.id - b.by[0]!.id);
}

function apply(problem: Problem, { forest, refuted }: State, usable: readonly Link[], { cut, by }: Exchange): State {
  const tree = [...forest.inTree].filter((l) => l !== cut.link);
  const less = new Set(refuted);
  for (const l of by) less.delete(l);
  return { forest: hang(problem, [...tree, by[0]!], usable), refuted: less };
}

/** How much speaks for the links that are in the forest or close on it, less what open short loops among them say. */
function worth({ forest, refuted }: State, usable: readonly Link[], open: readonly Loop[]): number {
  let sum = 0;
  const kept = new Set<Link>();
  for (const l of usable) {
    const tree = forest.inTree.has(l);
    if (!tree && !closes(forest, refuted, l)) continue;
    kept.add(l);
    sum += (tree ? 0 : forest.closing.get(l)!.evidence) - TRUST * Math.log(l.doubt);
  }
  for (const loop of open) if (loop.links.every((l) => kept.has(l))) sum -= MOST_EVIDENCE;
  return sum;
}
