import type { Masked } from '../registration/lock.js';
import { solveGraph } from './graph.js';
import { graphEdgeFromTies, TIE_DEFAULTS } from './graph-from-ties.js';
import type { EdgeReason, EdgeVerdict, GraphEdge, GraphSolution } from './graph-types.js';
import type { Heading } from './heading.js';
import { overlapProbability } from './overlap-probability.js';
import type { PlacedEdge } from './solve.js';
import { againstWay } from './way-verdict.js';

/** Why an overlap was not used: as {@link EdgeReason}, or WAY: it turns a pass otherwise than the way of the sky does. */
export type OverlapReason = EdgeReason | 'WAY';

/** What became of a measured overlap. */
export interface OverlapVerdict extends Pick<EdgeVerdict, 'kept' | 'detail' | 'tested'> {
  readonly reason: OverlapReason | null;
}

/** How well the overlaps agree, px at the strips' scale; distances, not per axis. */
export type OverlapFigures = Pick<
  GraphSolution,
  'edgeRmsPx' | 'loopRmsPx' | 'loops' | 'heldOutRmsPx' | 'chi2' | 'degreesOfFreedom'
>;

/** Which overlaps are believed, and what they join. */
export interface Decision {
  /** In the order of the edges. */
  readonly verdicts: readonly OverlapVerdict[];
  /** Strips by index that are joined by kept overlaps, single ones too; largest first, then by their first strip. */
  readonly groups: readonly (readonly number[])[];
  readonly figures: OverlapFigures;
}

/**
 * Spread that a tie may have beyond its own figures, px per axis: lenses that draw the same ground a little differently
 * at the top and the bottom of the frame. A false overlap is off by far more.
 */
const LENS_PX = 0.3;

/**
 * Leaves out overlaps that contradict the ways of the sky through the strips, and lets the loops of the others vote on
 * each of them: one false overlap, however sure of itself, ruins a whole plate.
 */
export function decide(
  strips: readonly { readonly masked: Masked; readonly way?: Heading | undefined }[],
  edges: readonly PlacedEdge[],
): Decision {
  const against = againstWay(
    edges,
    strips.map(({ way }) => way),
  );
  const settings = { ...TIE_DEFAULTS, leastWarpPx: LENS_PX };
  const given: { readonly at: number; readonly edge: GraphEdge }[] = [];
  edges.forEach(({ fixed, moving, edge }, at) => {
    if (against.has(at)) return;
    const probability = overlapProbability(edge.correlation, edge.ties.length);
    const made = graphEdgeFromTies(fixed, moving, edge, probability, settings);
    if (made) given.push({ at, edge: made });
  });
  const sizes = strips.map(({ masked }) => ({ widthPx: masked.light.width, heightPx: masked.light.height }));
  const solved = solveGraph(
    sizes,
    given.map((g) => g.edge),
  );
  const verdicts: OverlapVerdict[] = edges.map((_, at) =>
    against.has(at)
      ? { kept: false, reason: 'WAY', detail: against.get(at)!, tested: true }
      : { kept: false, reason: 'MALFORMED', detail: 'it has no ties', tested: false },
  );
  solved.edges.forEach(({ kept, reason, detail, tested }, k) => {
    verdicts[given[k]!.at] = { kept, reason, detail, tested };
  });
  const joined = solved.groups.map((g) => g.strips);
  const alone = strips.flatMap((_, s) => (joined.some((g) => g.includes(s)) ? [] : [[s]]));
  const { edgeRmsPx, loopRmsPx, loops, heldOutRmsPx, chi2, degreesOfFreedom } = solved;
  return {
    verdicts,
    groups: [...joined, ...alone].sort((a, b) => b.length - a.length || a[0]! - b[0]!),
    figures: { edgeRmsPx, loopRmsPx, loops, heldOutRmsPx, chi2, degreesOfFreedom },
  };
}
