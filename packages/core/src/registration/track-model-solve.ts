import { solveInPlace } from '../compute/small-solve.js';
import { driftWidths, PATH_TERMS, type PathBlock, pathTime, type State } from './path-model.js';

/** What one round of the solve finds for a pass. All px; rates over a drift of one frame width, times reach. */
export interface Unknowns {
  readonly shiftX: Float64Array;
  readonly shiftY: Float64Array;
  readonly pathX: Float64Array;
  readonly pathY: Float64Array;
  readonly turn: number;
  readonly stretch: number;
  /** Residual of each sighting against its point, over √(1 − its share of the point), so that few sightings count in full. */
  readonly residualX: Float64Array;
  readonly residualY: Float64Array;
}

/**
 * Patches of one frame share the air's large warps: a measurement counts as no more than this many independent patches.
 */
const INDEPENDENT_PATCHES = 4;
/** Field rotation over a drift of half a degree, 1 σ over the Moon's declinations, radians: 0.15°. */
const TURN_PRIOR = 0.0026;
/** Change of refraction's flattening over such a drift, 1 σ, down to an altitude of about 10°. */
const STRETCH_PRIOR = 5e-4;
/** Weight that holds the reference frame, and the share of all others that keeps the path defined for short passes. */
const HOLD = 1e6;
const FAINT = 1e-9;

/** Unknowns shared by all passes come first among the few, then six of the path of each pass. */
const TURN = 0;
const STRETCH = 1;
const SHARED = 2;

/**
 * One weighted solve. With the points eliminated, both axes of a pass have the same matrix over its frames; it is
 * factored once and the shared rates and the paths follow from its Schur complement.
 */
export function solveBlocks(blocks: readonly PathBlock[], states: readonly State[]): Unknowns[] {
  const n = SHARED + 2 * PATH_TERMS * blocks.length;
  const few = new Float64Array(n * n);
  const right = new Float64Array(n);
  const reduced = blocks.map((block, k) => reduceFrames(block, states[k]!));
  reduced.forEach((r, k) => {
    for (const axis of [r.x, r.y]) {
      const at = axis.columns.map((c) => (c.few < SHARED ? c.few : c.few + 2 * PATH_TERMS * k));
      axis.columns.forEach((p, i) => {
        right[at[i]!]! += p.right - dot(p.many, axis.solvedRight);
        axis.columns.forEach((_, j) => {
          few[at[i]! * n + at[j]!]! += axis.between[i]![j]! - dot(p.many, axis.solved[j]!);
        });
      });
    }
    const faint = FAINT * (1 + r.pull);
    for (let t = 0; t < 2 * PATH_TERMS; t++) few[(SHARED + 2 * PATH_TERMS * k + t) * (n + 1)]! += faint;
  });
  // A pass is a drift of about half a degree: the longest one gives the unit of the rates' priors.
  const longest = blocks.reduce((most, block) => (way(block) > way(most) ? block : most));
  const widths = Math.max(1e-6, way(longest) / (2 * longest.reach));
  few[TURN * (n + 1)]! += (widths / (TURN_PRIOR * longest.reach)) ** 2;
  few[STRETCH * (n + 1)]! += (widths / (STRETCH_PRIOR * longest.reach)) ** 2;
  solveInPlace(few, right, n);
  return blocks.map((block, k) => expand(block, reduced[k]!, right, SHARED + 2 * PATH_TERMS * k));
}

function way(block: PathBlock): number {
  return block.span * block.driftPx;
}

interface Column {
  /** Which of the few: TURN, STRETCH, or SHARED + term of this pass (x first). */
  readonly few: number;
  /** Its column over the frames, and its right side. */
  readonly many: Float64Array;
  readonly right: number;
}

interface Axis {
  readonly columns: readonly Column[];
  readonly between: readonly (readonly number[])[];
  readonly solved: readonly Float64Array[];
  readonly solvedRight: Float64Array;
}

interface Reduced {
  readonly x: Axis;
  readonly y: Axis;
  readonly weight: Float64Array;
  /** Sum of the weights that tie the frames to the path. */
  readonly pull: number;
}

function reduceFrames(block: PathBlock, state: State): Reduced {
  const n = block.frames.length;
  const weight = Float64Array.from(block.sightings, (s, k) => {
    const share = state.sightingWeight[k]! * Math.min(1, INDEPENDENT_PATCHES / block.count[k]!);
    return share / (s.noise + state.warpPx ** 2);
  });
  const matrix = new Float64Array(n * n);
  // The ground holds the frames where it is known; else the whole strip may slide.
  if (block.groundPx === Number.POSITIVE_INFINITY) matrix[block.slot.get(block.reference)! * (n + 1)]! += HOLD;
  const tau = block.since.map((since) => pathTime(block, since));
  const pull = state.frameWeight.map((w) => w / state.tiltPx ** 2);
  for (let i = 0; i < n; i++) matrix[i * (n + 1)]! += pull[i]!;
  for (const seen of block.points) {
    const total = totalOf(block, seen, weight);
    for (const k of seen) {
      const i = block.sighter[k]!;
      matrix[i * (n + 1)]! += weight[k]!;
      const part = weight[k]! / total;
      for (const l of seen) {
        const j = block.sighter[l]!;
        if (j <= i) matrix[i * n + j]! -= part * weight[l]!;
      }
    }
  }
  const first = factorEnvelope(matrix, n);
  const paths = (offset: number): Column[] =>
    Array.from({ length: PATH_TERMS }, (_, t) => ({
      few: SHARED + offset + t,
      many: Float64Array.from(tau, (v, i) => -pull[i]! * v ** t),
      right: 0,
    }));
  const axis = (offset: number, rates: readonly (readonly [number, Rate])[], value: Rate): Axis => {
    const values = block.sightings.map((_, k) => value(block, k));
    const rights = centred(block, weight, values);
    const coefficients = rates.map(([, rate]) => block.sightings.map((_, k) => rate(block, k)));
    const centredRates = coefficients.map((c) => centred(block, weight, c));
    const columns = [
      ...rates.map(([few], r) => ({
        few,
        many: gather(block, centredRates[r]!),
        right: dot(centredRates[r]!, values),
      })),
      ...paths(offset),
    ];
    const between = columns.map((_, p) =>
      columns.map((__, q) => {
        if (p < rates.length && q < rates.length) return dot(centredRates[p]!, coefficients[q]!);
        if (p < rates.length || q < rates.length) return 0;
        return tau.reduce((sum, v, i) => sum + pull[i]! * v ** (p - rates.length) * v ** (q - rates.length), 0);
      }),
    );
    const solved = columns.map((c) => substituteEnvelope(matrix, first, c.many, n));
    return { columns, between, solved, solvedRight: substituteEnvelope(matrix, first, gather(block, rights), n) };
  };
  const x = axis(0, [[TURN, turnX]], valueX);
  const y = axis(
    PATH_TERMS,
    [
      [TURN, turnY],
      [STRETCH, stretchY],
    ],
    valueY,
  );
  return { x, y, weight, pull: pull.reduce((sum, w) => sum + w, 0) };
}

type Rate = (block: PathBlock, sighting: number) => number;

// shift + (s − centre) + drift·(turn·J + stretch·K)(s − centre)/reach = (u, v) − centre + shift of the point
const valueX: Rate = ({ sightings }, k) => sightings[k]!.u - sightings[k]!.x;
const valueY: Rate = ({ sightings }, k) => sightings[k]!.v - sightings[k]!.y;
const turnX: Rate = (block, k) =>
  (-driftWidths(block, block.sighter[k]!) * (block.sightings[k]!.y - block.centre.y)) / block.reach;
const turnY: Rate = (block, k) =>
  (driftWidths(block, block.sighter[k]!) * (block.sightings[k]!.x - block.centre.x)) / block.reach;
const stretchY: Rate = (block, k) =>
  (driftWidths(block, block.sighter[k]!) * (block.sightings[k]!.y - block.centre.y)) / block.reach;

/** Weight · (value − weighted mean of its point), 0 where a point says nothing. */
function centred(block: PathBlock, weight: Float64Array, values: readonly number[]): Float64Array {
  const out = new Float64Array(values.length);
  for (const seen of block.points) {
    const mean = meanOf(block, seen, weight, values);
    for (const k of seen) out[k] = weight[k]! * (values[k]! - mean);
  }
  return out;
}

/** Weights of a point's sightings, and of the strip's own word for where it lies. */
function totalOf({ groundPx }: PathBlock, seen: readonly number[], weight: Float64Array): number {
  let total = 1 / groundPx ** 2;
  for (const k of seen) total += weight[k]!;
  return total;
}

function meanOf(block: PathBlock, seen: readonly number[], weight: Float64Array, values: ArrayLike<number>): number {
  let sum = 0;
  for (const k of seen) sum += weight[k]! * values[k]!;
  return sum / totalOf(block, seen, weight);
}

/** Sums over the sightings of each frame. */
function gather(block: PathBlock, values: Float64Array): Float64Array {
  const out = new Float64Array(block.frames.length);
  for (let k = 0; k < values.length; k++) out[block.sighter[k]!]! += values[k]!;
  return out;
}

function expand(block: PathBlock, { x, y, weight }: Reduced, few: Float64Array, at: number): Unknowns {
  const shift = (axis: Axis): Float64Array => {
    const out = Float64Array.from(axis.solvedRight);
    axis.columns.forEach((c, p) => {
      const value = few[c.few < SHARED ? c.few : c.few - SHARED + at]!;
      for (let i = 0; i < out.length; i++) out[i]! -= value * axis.solved[p]![i]!;
    });
    return out;
  };
  const shiftX = shift(x);
  const shiftY = shift(y);
  const [turn, stretch] = [few[TURN]!, few[STRETCH]!];
  const errorX = block.sightings.map((_, k) => shiftX[block.sighter[k]!]! + turn * turnX(block, k) - valueX(block, k));
  const errorY = block.sightings.map(
    (_, k) => shiftY[block.sighter[k]!]! + turn * turnY(block, k) + stretch * stretchY(block, k) - valueY(block, k),
  );
  return {
    shiftX,
    shiftY,
    pathX: few.slice(at, at + PATH_TERMS),
    pathY: few.slice(at + PATH_TERMS, at + 2 * PATH_TERMS),
    turn,
    stretch,
    residualX: residuals(block, weight, errorX),
    residualY: residuals(block, weight, errorY),
  };
}

function residuals(block: PathBlock, weight: Float64Array, errors: readonly number[]): Float64Array {
  const out = new Float64Array(errors.length);
  for (const seen of block.points) {
    const mean = meanOf(block, seen, weight, errors);
    const total = totalOf(block, seen, weight);
    for (const k of seen) out[k] = (errors[k]! - mean) / Math.sqrt(Math.max(MOST_OWN, 1 - weight[k]! / total));
  }
  return out;
}

/** A sighting that outweighs all others of its point is not scaled up beyond this. */
const MOST_OWN = 0.05;

function dot(a: ArrayLike<number>, b: ArrayLike<number>): number {
  let sum = 0;
  for (let i = 0; i < a.length; i++) sum += a[i]! * b[i]!;
  return sum;
}

/** Cholesky factor in place of the lower half, within the envelope; returns the first column of each row. */
function factorEnvelope(a: Float64Array, n: number): Int32Array {
  const first = new Int32Array(n);
  for (let i = 0; i < n; i++) {
    let from = 0;
    while (from < i && a[i * n + from] === 0) from++;
    first[i] = from;
    for (let j = from; j <= i; j++) {
      let sum = a[i * n + j]!;
      for (let k = Math.max(from, first[j]!); k < j; k++) sum -= a[i * n + k]! * a[j * n + k]!;
      a[i * n + j] = j === i ? Math.sqrt(Math.max(sum, Number.MIN_VALUE)) : sum / a[j * n + j]!;
    }
  }
  return first;
}

function substituteEnvelope(lower: Float64Array, first: Int32Array, right: Float64Array, n: number): Float64Array {
  const b = Float64Array.from(right);
  for (let i = 0; i < n; i++) {
    let sum = b[i]!;
    for (let k = first[i]!; k < i; k++) sum -= lower[i * n + k]! * b[k]!;
    b[i] = sum / lower[i * n + i]!;
  }
  for (let i = n - 1; i >= 0; i--) {
    const value = b[i]! / lower[i * n + i]!;
    b[i] = value;
    for (let k = first[i]!; k < i; k++) b[k]! -= lower[i * n + k]! * value;
  }
  return b;
}
