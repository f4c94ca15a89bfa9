import type { StripEdge } from './edge.js';

/**
 * Probability that an overlap is true, from the correlation of its detail and from how much ground agrees: passes of other
 * bodies, ground or scale reached 0.45 over wide overlaps; two arcs of a crescent's limb reached 0.89, but never over more
 * than a patch or so; true overlaps have 0.7 to 0.97. A rule of thumb; votes of loops count for more.
 */
export function overlapProbability(correlation: number, ties: number): number {
  const even = EVEN_WIDE + EVEN_MORE * Math.exp(-ties / TIES_A_PATCH / FEW_PATCHES);
  return 1 / (1 + Math.exp(-(correlation - even) / 0.07)) || 0;
}

/** Whether an overlap is as good as true by its own word. */
export function isSure({ correlation, ties }: Pick<StripEdge, 'correlation' | 'ties'>): boolean {
  return overlapProbability(correlation, ties.length) > SURE;
}

const SURE = 0.9;
/** The correlation that true and false overlaps reach alike where much ground agrees, and what it is more where little does. */
const EVEN_WIDE = 0.5;
const EVEN_MORE = 0.4;
/** Patches of ties overlap: four to a side in either direction. */
const TIES_A_PATCH = 16;
const FEW_PATCHES = 2;
