import { type LoopTest, testLoop } from './graph-loop.js';
import type { Link, Problem } from './graph-problem.js';

/** A loop of links and its test. */
export interface Loop {
  readonly links: readonly Link[];
  readonly test: LoopTest;
}

/** Tests the loops of three and of four links, up to `settings.maxLoops` of either, in canonical order. */
export function shortLoops(problem: Problem, links: readonly Link[]): Loop[] {
  const nodes = problem.strips.length + 1;
  const between = new Map<number, Link[]>();
  const neighbours = Array.from({ length: nodes }, () => new Set<number>());
  const key = (a: number, b: number): number => Math.min(a, b) * nodes + Math.max(a, b);
  for (const link of links) {
    neighbours[link.fixed]!.add(link.moving);
    neighbours[link.moving]!.add(link.fixed);
    const k = key(link.fixed, link.moving);
    between.set(k, [...(between.get(k) ?? []), link]);
  }
  const above = (a: number): number[] => [...neighbours[a]!].filter((b) => b > a).sort((p, q) => p - q);
  const loops: Loop[] = [];
  const add = (start: number, chain: readonly (readonly Link[])[], most: number): boolean => {
    for (const walk of choices(chain)) {
      if (loops.length >= most) return false;
      loops.push({ links: walk, test: testLoop(problem, start, walk) });
    }
    return true;
  };
  const at = (a: number, b: number): readonly Link[] => between.get(key(a, b)) ?? [];
  threes: for (let a = 0; a < nodes; a++)
    for (const b of above(a))
      for (const c of above(b))
        if (neighbours[a]!.has(c) && !add(a, [at(a, b), at(b, c), at(c, a)], problem.settings.maxLoops)) break threes;
  const most = loops.length + problem.settings.maxLoops;
  fours: for (let a = 0; a < nodes; a++) {
    const near = above(a);
    for (const b of near)
      for (const d of near) {
        if (d <= b) continue;
        for (const c of [...neighbours[b]!].sort((p, q) => p - q)) {
          if (c <= a || c === d || !neighbours[d]!.has(c)) continue;
          if (!add(a, [at(a, b), at(b, c), at(c, d), at(d, a)], most)) break fours;
        }
      }
  }
  return loops;
}

/** One link of each step, all ways. */
function choices(chain: readonly (readonly Link[])[]): Link[][] {
  return chain.reduce<Link[][]>((walks, step) => walks.flatMap((walk) => step.map((link) => [...walk, link])), [[]]);
}
