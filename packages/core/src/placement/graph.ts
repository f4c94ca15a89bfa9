import { decide } from './graph-decide.js';
import { testLoop } from './graph-loop.js';
import { type Fate, type Link, type Problem, prepare } from './graph-problem.js';
import { report } from './graph-report.js';
import {
  GRAPH_DEFAULTS,
  type GraphEdge,
  type GraphFix,
  type GraphSettings,
  type GraphSolution,
  type GraphStrip,
} from './graph-types.js';
import { consensus } from './graph-vote.js';

/**
 * Places many strips at once from the measured overlaps of pairs, when some of the overlaps are false. Unknown are, of
 * every strip, shift, turn, scale and vertical squeeze. Loops of overlaps find the largest set that is consistent,
 * whatever the overlaps' own significance; a robust solve and held-out tests then decide on every edge, and a weighted
 * least-squares solve of the kept ones gives poses and covariances. Every edge that is not kept comes back with its
 * reason. The answer does not depend on the order of strips or edges.
 *
 * Poses map strip px to the px of the strip's group (the reference strip's own px, or the space of the fixes). Several
 * groups, or strips without any, are a result and not an error. Throws UsageError for settings, sizes or indices out of
 * range.
 */
export function solveGraph(
  strips: readonly GraphStrip[],
  edges: readonly GraphEdge[],
  settings: Partial<GraphSettings> = {},
  fixes: readonly GraphFix[] = [],
): GraphSolution {
  const problem = prepare(strips, edges, { ...GRAPH_DEFAULTS, ...settings }, fixes);
  const duplicates = findDuplicates(problem);
  const links = problem.links.filter((l) => !duplicates.has(l));
  const found = consensus(problem, links);
  const decision = decide(problem, links, found);
  return report(problem, found, decision, duplicates, { edges: edges.length, fixes: fixes.length });
}

/** Edges of the same strips that say the same: all but the most probable, then most precise one, count for nothing. */
function findDuplicates(problem: Problem): Map<Link, Fate> {
  const duplicates = new Map<Link, Fate>();
  const byTrust = problem.links
    .filter((l) => !l.isFix)
    .sort((a, b) => b.probability - a.probability || precision(b) - precision(a) || a.id - b.id);
  byTrust.forEach((l, k) => {
    for (const better of byTrust.slice(0, k)) {
      const same = Math.min(l.fixed, l.moving) === Math.min(better.fixed, better.moving);
      if (!same || l.fixed + l.moving !== better.fixed + better.moving || duplicates.has(better)) continue;
      if (testLoop(problem, l.fixed, [l, better]).ratio > 1) continue;
      duplicates.set(l, { reason: 'DUPLICATE', detail: `edge ${better.given} of the same strips says the same` });
      break;
    }
  });
  return duplicates;
}

function precision(l: Link): number {
  return l.information[0]! + l.information[6]!;
}
