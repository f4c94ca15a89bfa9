import { type LoopTest, testLoop } from './graph-loop.js';
import type { Poll } from './graph-poll.js';
import type { Link, Problem } from './graph-problem.js';

/** A spanning forest and how the other links close on it. */
export interface Forest {
  /** Link to the parent by node, null at a root. */
  readonly up: readonly (Link | null)[];
  readonly root: readonly number[];
  readonly depth: readonly number[];
  /** First and last visit of each node: `b` lies below `a` when enter[a] ≤ enter[b] and leave[b] ≤ leave[a]. */
  readonly enter: readonly number[];
  readonly leave: readonly number[];
  readonly inTree: ReadonlySet<Link>;
  /** Test of the loop that each other link closes. */
  readonly closing: ReadonlyMap<Link, LoopTest>;
}

/** Lengths of links in the shallow tree: what loops speak against, and what is not an overlap, comes last. */
const LENGTH = { plain: 1, unsupported: 1, fix: 50, refuted: 1000 } as const;

/**
 * The links of a shallow spanning forest, grown from the middle of each component along shortest ways: so that the
 * loops that others close on it are short and tell much. Links that closed loops confirm are shorter than others. With a
 * `root` that node's component grows from there.
 */
export function shallowTree(
  nodes: number,
  links: readonly Link[],
  polled: Pick<Poll, 'refuted' | 'support'>,
  root?: number,
): Link[] {
  const near: Link[][] = Array.from({ length: nodes }, () => []);
  for (const l of links) {
    near[l.fixed]!.push(l);
    near[l.moving]!.push(l);
  }
  const length = (l: Link): number => {
    const plain = LENGTH.plain + LENGTH.unsupported * (1 - polled.support(l));
    return plain + (l.isFix ? LENGTH.fix : 0) + (polled.refuted.has(l) ? LENGTH.refuted : 0);
  };
  const lengths = new Map(links.map((l) => [l, length(l)]));
  const tree: Link[] = [];
  const done = new Set<number>();
  const grow = (from: number): void => {
    const grown = shortestWays(nodes, near, lengths, from);
    tree.push(...grown.tree);
    for (const r of grown.reached) done.add(r);
  };
  if (root !== undefined) grow(root);
  for (let node = 0; node < nodes; node++) if (!done.has(node)) grow(middleOf(nodes, near, lengths, node));
  return tree;
}

/** The node of a component from which the farthest other one is nearest. */
function middleOf(
  nodes: number,
  near: readonly (readonly Link[])[],
  lengths: ReadonlyMap<Link, number>,
  node: number,
): number {
  let middle = node;
  let least = Number.POSITIVE_INFINITY;
  for (const r of shortestWays(nodes, near, lengths, node).reached) {
    const { far } = shortestWays(nodes, near, lengths, r);
    if (far < least) {
      least = far;
      middle = r;
    }
  }
  return middle;
}

function shortestWays(
  nodes: number,
  near: readonly (readonly Link[])[],
  lengths: ReadonlyMap<Link, number>,
  from: number,
): { readonly tree: Link[]; readonly reached: number[]; readonly far: number } {
  const way = new Float64Array(nodes).fill(Number.POSITIVE_INFINITY);
  const via: (Link | null)[] = Array.from({ length: nodes }, () => null);
  const open = new Set([from]);
  const reached: number[] = [];
  const tree: Link[] = [];
  way[from] = 0;
  let far = 0;
  while (open.size > 0) {
    let next = -1;
    for (const o of open) if (next === -1 || way[o]! < way[next]! || (way[o]! === way[next]! && o < next)) next = o;
    open.delete(next);
    reached.push(next);
    far = way[next]!;
    if (via[next]) tree.push(via[next]!);
    for (const l of near[next]!) {
      const other = otherEnd(l, next);
      const total = way[next]! + lengths.get(l)!;
      if (!(total < way[other]!)) continue;
      way[other] = total;
      via[other] = l;
      open.add(other);
    }
  }
  return { tree, reached, far };
}

/** The links that join what those before them leave apart. */
export function spanning(nodes: number, links: readonly Link[]): Link[] {
  const set = Array.from({ length: nodes }, (_, i) => i);
  const find = (i: number): number => {
    let k = i;
    while (set[k] !== k) k = set[k]!;
    set[i] = k;
    return k;
  };
  return links.filter((l) => {
    const a = find(l.fixed);
    const b = find(l.moving);
    if (a !== b) set[b] = a;
    return a !== b;
  });
}

/** Hangs up a spanning forest and tests every other link that joins two nodes of one tree. */
export function hang(problem: Problem, tree: readonly Link[], links: readonly Link[]): Forest {
  const nodes = problem.strips.length + 1;
  const near: Link[][] = Array.from({ length: nodes }, () => []);
  for (const l of tree) {
    near[l.fixed]!.push(l);
    near[l.moving]!.push(l);
  }
  const up: (Link | null)[] = Array.from({ length: nodes }, () => null);
  const root = Array.from({ length: nodes }, () => -1);
  const depth = Array.from({ length: nodes }, () => 0);
  const enter = Array.from({ length: nodes }, () => 0);
  const leave = Array.from({ length: nodes }, () => 0);
  let clock = 0;
  const visit = (node: number, from: number, via: Link | null): void => {
    root[node] = from;
    up[node] = via;
    enter[node] = clock++;
    for (const l of near[node]!) {
      if (l === via) continue;
      const next = otherEnd(l, node);
      depth[next] = depth[node]! + 1;
      visit(next, from, l);
    }
    leave[node] = clock++;
  };
  // The common space is a root of its own tree, so that paths through it stay short.
  for (let node = nodes - 1; node >= 0; node--) if (root[node] === -1) visit(node, node, null);
  const inTree = new Set(tree);
  const forest = { up, root, depth, enter, leave, inTree, closing: new Map<Link, LoopTest>() };
  for (const l of links) {
    if (inTree.has(l) || root[l.fixed] !== root[l.moving]) continue;
    forest.closing.set(l, testLoop(problem, l.fixed, [l, ...pathBetween(forest, l.moving, l.fixed)]));
  }
  return forest;
}

export function otherEnd(link: Link, node: number): number {
  return link.fixed === node ? link.moving : link.fixed;
}

/** The tree's links from one node to another of the same tree, in order. */
export function pathBetween(forest: Pick<Forest, 'up' | 'depth'>, from: number, to: number): Link[] {
  const rising: Link[] = [];
  const falling: Link[] = [];
  let a = from;
  let b = to;
  while (a !== b) {
    if (forest.depth[a]! >= forest.depth[b]!) {
      rising.push(forest.up[a]!);
      a = otherEnd(forest.up[a]!, a);
    } else {
      falling.push(forest.up[b]!);
      b = otherEnd(forest.up[b]!, b);
    }
  }
  return [...rising, ...falling.reverse()];
}

/** The fewest links from one node to another, or null when they do not join. */
export function shortestWay(links: Iterable<Link>, from: number, to: number): Link[] | null {
  const via = new Map<number, Link | null>([[from, null]]);
  const near = new Map<number, Link[]>();
  for (const l of links)
    for (const node of [l.fixed, l.moving]) {
      const own = near.get(node);
      if (own) own.push(l);
      else near.set(node, [l]);
    }
  const queue = [from];
  for (const node of queue) {
    if (node === to) break;
    for (const l of near.get(node) ?? []) {
      const next = otherEnd(l, node);
      if (via.has(next)) continue;
      via.set(next, l);
      queue.push(next);
    }
  }
  if (!via.has(to)) return null;
  const way: Link[] = [];
  for (let node = to; via.get(node); node = otherEnd(via.get(node)!, node)) way.push(via.get(node)!);
  return way.reverse();
}

export function isBelow(forest: Forest, top: number, node: number): boolean {
  return forest.enter[top]! <= forest.enter[node]! && forest.leave[node]! <= forest.leave[top]!;
}
