import type { Affine } from '../compute/affine.js';

/** A strip as a node of the placement graph. */
export interface GraphStrip {
  readonly widthPx: number;
  readonly heightPx: number;
}

/**
 * A measured relation of one strip to something fixed. `pose` maps the strip's px to the px of that thing. The errors
 * of the five parameters are meant at the point `at`: shift in x and y (px of the fixed side), turn (radians, x towards
 * y), logarithm of the scale, logarithm of the vertical squeeze.
 */
interface Measured {
  readonly pose: Affine;
  /** Where the pose is best known, moving px: the centre of the overlap, or of the disc. */
  readonly at: { readonly x: number; readonly y: number };
  /** Half the sides of the overlap, px: the residual is stated at its corners. */
  readonly halfWidthPx: number;
  readonly halfHeightPx: number;
  /** Information (inverse covariance) of the five parameters, 5 × 5 row-major. Rows of zeros are not measured. */
  readonly information: ArrayLike<number>;
  /** Probability that this is right at all, 0..1. */
  readonly probability: number;
}

/**
 * An overlap of two strips, by index: `pose` maps moving px to fixed px. Several edges may join the same two strips;
 * at most one of them is taken to be true.
 */
export interface GraphEdge extends Measured {
  readonly fixed: number;
  readonly moving: number;
}

/** What told the place of a strip in the common space: time stamps and drift, a wide guide frame, or an arc of limb. */
export type FixKind = 'DRIFT' | 'GUIDE' | 'LIMB';

/**
 * Where one strip lies in a common space, from something other than its neighbours: `pose` maps strip px to common px.
 * Fixes of one strip are independent of each other. Those of a limb inform on the shift alone (`at` is the disc's
 * centre in strip px, which the pose maps to its place in the common space).
 */
export interface GraphFix extends Measured {
  readonly strip: number;
  readonly kind: FixKind;
}

/** Settings of {@link solveGraph}. */
export interface GraphSettings {
  /** 1 σ of a strip's scale about 1: one camera took all passes. */
  readonly scaleSigma: number;
  /** 1 σ of a strip's vertical squeeze about 1: refraction changes through a night. */
  readonly squeezeSigma: number;
  /** 1 σ of the turn between two strips about the edge's own pose, degrees, where the edge does not measure it. */
  readonly turnSigmaDeg: number;
  /** Chance that a true edge fails one test. */
  readonly falseAlarm: number;
  /** Width of the robust loss, in σ: Cauchy's for an efficiency of 95 %. */
  readonly cauchy: number;
  /** An edge that others contradict and none confirms is kept only when it is right with this probability. */
  readonly leastPosterior: number;
  /** Most loops of each length that are looked at. */
  readonly maxLoops: number;
  /** Index of the strip whose place and turn are the common space of its group; chosen from the graph when left out. */
  readonly reference?: number;
}

/** The documented defaults of {@link GraphSettings}. */
export const GRAPH_DEFAULTS: GraphSettings = {
  scaleSigma: 1e-4,
  squeezeSigma: 8e-4,
  turnSigmaDeg: 5,
  falseAlarm: 1e-3,
  cauchy: 2.385,
  leastPosterior: 0.8,
  maxLoops: 4000,
};

/**
 * Why an edge or a fix was not used. MALFORMED: its figures are no measurement. DUPLICATE: another edge of the same
 * strips says the same and is used. RIVAL: another edge of the same strips says otherwise and is used. LOOP: the loop
 * that it closes does not close. CONTESTED: as much speaks against it as for it. RESIDUAL: it closes its loop but
 * contradicts the solve of all others.
 */
export type EdgeReason = 'MALFORMED' | 'DUPLICATE' | 'RIVAL' | 'LOOP' | 'CONTESTED' | 'RESIDUAL';

/** What became of one edge or fix. */
export interface EdgeVerdict {
  readonly kept: boolean;
  /** Null when kept. */
  readonly reason: EdgeReason | null;
  /** The reason in plain words, with the figures that decided it; empty when kept. */
  readonly detail: string;
  /** Whether anything independent could have contradicted it. A kept edge that is not tested is only as sure as itself. */
  readonly tested: boolean;
  /** Whether its removal would cut a group in two. */
  readonly bridge: boolean;
  /** Probability that it is right: its own when untested. */
  readonly probability: number;
  /** Residual over the corners of the overlap, px rms of the distance. Null when its ends are in different groups. */
  readonly residualPx: number | null;
  /** The same against the solve without this edge. Null for bridges and edges between groups. */
  readonly heldOutPx: number | null;
  /** Squared error against the solve without it, over its covariance, and the dimensions that could be tested. */
  readonly distance2: number | null;
  readonly dimensions: number;
}

/** Why a strip has no pose. UNDETERMINED: its edges leave its place open by more than {@link UNDETERMINED_PX}. */
export type StripReason = 'NO_EDGE' | 'ONLY_CONTRADICTED_EDGES' | 'UNDETERMINED';

/** A strip's place is undetermined when its 1 σ exceeds this, px. */
export const UNDETERMINED_PX = 1000;

/** Where one strip lies. */
export interface StripVerdict {
  /** Strip px -> the common space of its group, px. Null when it could not be placed. */
  readonly pose: Affine | null;
  /** Turn in degrees, scale and vertical squeeze of the pose. */
  readonly rotationDeg: number;
  readonly scale: number;
  readonly squeeze: number;
  /** Marginal covariance of (centre x, centre y in px, turn in radians, log scale, log squeeze), 5 × 5 row-major. */
  readonly covariance: Float64Array;
  /** Index in `groups`, −1 when not placed. */
  readonly group: number;
  /** Product of the probabilities of the untested edges between it and the group's reference. */
  readonly probability: number;
  readonly reason: StripReason | null;
}

/** Strips that are joined by kept edges or fixes. */
export interface GraphGroup {
  /** Indices of strips, ascending. */
  readonly strips: readonly number[];
  /** The strip whose place and turn define the group's space; null when fixes define it. */
  readonly reference: number | null;
}

/** What {@link solveGraph} found. */
export interface GraphSolution {
  readonly strips: readonly StripVerdict[];
  /** In the order of the edges given. */
  readonly edges: readonly EdgeVerdict[];
  /** In the order of the fixes given. */
  readonly fixes: readonly EdgeVerdict[];
  /** Largest first. */
  readonly groups: readonly GraphGroup[];
  /** Indices of the kept edges that nothing can test. */
  readonly untested: readonly number[];
  /** Indices of the kept edges whose removal would cut a group in two. */
  readonly bridges: readonly number[];
  /** Root mean square of the kept edges' residuals, px; 0 without edges. */
  readonly edgeRmsPx: number;
  /** Root mean square of the misclosure of the loops of 3 and 4 kept edges, px, and their number. */
  readonly loopRmsPx: number;
  readonly loops: number;
  /** Root mean square of the kept and tested edges' held-out errors, px; 0 when there are none. */
  readonly heldOutRmsPx: number;
  readonly chi2: number;
  readonly degreesOfFreedom: number;
}
