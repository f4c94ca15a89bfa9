import { MOST_EVIDENCE } from './graph-loop.js';
import type { Loop } from './graph-loops.js';
import type { Link } from './graph-problem.js';

/** What the short loops say of the links. */
export interface Poll {
  /** Links that more loops speak against than for, once those that were worse are out. */
  readonly refuted: ReadonlySet<Link>;
  /** Share of closed loops among those of links that are left, 0..1, a little below for the untested. */
  support(link: Link): number;
}

/**
 * Lets the short loops vote. A loop that does not close speaks against all its links, one that closes for them by how
 * telling it is. The link with the greatest balance against it goes out, and its loops with it, until no link has more
 * against than for it. Loops count, not the links' own trust.
 */
export function poll(loops: readonly Loop[]): Poll {
  const against = new Map<Link, number>();
  const pro = new Map<Link, number>();
  const through = new Map<Link, number[]>();
  const count = (loop: Loop, sign: number): void => {
    if (loop.test.dimensions === 0) return;
    const closed = loop.test.ratio <= 1;
    const tally = closed ? pro : against;
    for (const l of loop.links)
      tally.set(l, (tally.get(l) ?? 0) + sign * (closed ? loop.test.evidence : MOST_EVIDENCE));
  };
  loops.forEach((loop, k) => {
    count(loop, 1);
    for (const l of loop.links) through.set(l, [...(through.get(l) ?? []), k]);
  });
  const links = [...through.keys()].sort((a, b) => a.id - b.id);
  const out = new Set<number>();
  const refuted = new Set<Link>();
  for (;;) {
    let worst: Link | null = null;
    let most = 0;
    for (const l of links) {
      if (refuted.has(l)) continue;
      const balance = (against.get(l) ?? 0) - (pro.get(l) ?? 0);
      if (balance < most - TIE || balance < TIE) continue;
      if (balance < most + TIE && worst && worst.doubt >= l.doubt) continue;
      most = balance;
      worst = l;
    }
    if (!worst) break;
    refuted.add(worst);
    for (const k of through.get(worst)!) {
      if (out.has(k)) continue;
      out.add(k);
      count(loops[k]!, -1);
    }
  }
  const support = (l: Link): number => {
    const good = Math.max(0, pro.get(l) ?? 0);
    return (good + 0.01 / (1 + l.doubt)) / (good + Math.max(0, against.get(l) ?? 0) + 1);
  };
  return { refuted, support };
}

const TIE = 1e-6;
