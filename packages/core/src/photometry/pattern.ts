/**
 * The sensor's smooth fixed pattern as a factor on the light, exp of a sum of basis functions: radial vignetting
 * (r², r⁴, r⁶) about the middle of the frame, plus a coarse grid of nodes, linear in between, for what is not round.
 * Positions are from the middle of the frame in units of half its diagonal.
 */
export interface SmoothPattern {
  /** Coefficients of r², r⁴, r⁶. */
  readonly radial: readonly number[];
  /** Node values, natural log, row by row. */
  readonly nodes: readonly number[];
  /** Half the frame's width and height in units of half its diagonal. */
  readonly halfWidth: number;
  readonly halfHeight: number;
}

export const NODE_COLUMNS = 9;
export const NODE_ROWS = 7;
export const RADIAL_TERMS = 3;
/** Number of coefficients in all, radial ones first. */
export const PATTERN_SIZE: number = RADIAL_TERMS + NODE_COLUMNS * NODE_ROWS;

/** No pattern at all. */
export function flatPattern(width: number, height: number): SmoothPattern {
  const diagonal = Math.hypot(width, height);
  return {
    radial: [0, 0, 0],
    nodes: new Array<number>(NODE_COLUMNS * NODE_ROWS).fill(0),
    halfWidth: width / diagonal,
    halfHeight: height / diagonal,
  };
}

/** The same frame's pattern with other coefficients. */
export function withCoefficients(pattern: SmoothPattern, c: ArrayLike<number>): SmoothPattern {
  const all = Array.from(c);
  return { ...pattern, radial: all.slice(0, RADIAL_TERMS), nodes: all.slice(RADIAL_TERMS, PATTERN_SIZE) };
}

/** Writes the indices and values of the basis functions that are not zero at a point; returns how many. */
export function basisAt(pattern: SmoothPattern, x: number, y: number, index: Uint16Array, value: Float64Array): number {
  const r2 = x * x + y * y;
  value[0] = r2;
  value[1] = r2 * r2;
  value[2] = r2 * r2 * r2;
  const u = clamp(((x / pattern.halfWidth + 1) / 2) * (NODE_COLUMNS - 1), NODE_COLUMNS - 1);
  const v = clamp(((y / pattern.halfHeight + 1) / 2) * (NODE_ROWS - 1), NODE_ROWS - 1);
  const iu = Math.min(NODE_COLUMNS - 2, Math.floor(u));
  const iv = Math.min(NODE_ROWS - 2, Math.floor(v));
  const fu = u - iu;
  const fv = v - iv;
  const first = RADIAL_TERMS + iv * NODE_COLUMNS + iu;
  value[3] = (1 - fu) * (1 - fv);
  value[4] = fu * (1 - fv);
  value[5] = (1 - fu) * fv;
  value[6] = fu * fv;
  index[0] = 0;
  index[1] = 1;
  index[2] = 2;
  index[3] = first;
  index[4] = first + 1;
  index[5] = first + NODE_COLUMNS;
  index[6] = first + NODE_COLUMNS + 1;
  return BASIS_TERMS;
}

/** Basis functions that are not zero at any one point. */
export const BASIS_TERMS = 7;

/** The factor at a point. */
export function patternAt(pattern: SmoothPattern, x: number, y: number): number {
  const index = new Uint16Array(BASIS_TERMS);
  const value = new Float64Array(BASIS_TERMS);
  basisAt(pattern, x, y, index, value);
  let log = 0;
  for (let k = 0; k < BASIS_TERMS; k++) {
    const i = index[k]!;
    log += value[k]! * (i < RADIAL_TERMS ? pattern.radial[i]! : pattern.nodes[i - RADIAL_TERMS]!);
  }
  return Math.exp(log);
}

/** The factor along a row: at positions `xs` in ascending order and one y, into `out`. */
export function patternRow(pattern: SmoothPattern, xs: Float64Array, y: number, out: Float32Array): void {
  const [a, b, c] = pattern.radial as [number, number, number];
  const v = clamp(((y / pattern.halfHeight + 1) / 2) * (NODE_ROWS - 1), NODE_ROWS - 1);
  const iv = Math.min(NODE_ROWS - 2, Math.floor(v));
  const nodes = Float64Array.from({ length: NODE_COLUMNS }, (_, i) => {
    const above = pattern.nodes[iv * NODE_COLUMNS + i]!;
    return above + (v - iv) * (pattern.nodes[(iv + 1) * NODE_COLUMNS + i]! - above);
  });
  for (let k = 0; k < xs.length; k++) {
    const x = xs[k]!;
    const r2 = x * x + y * y;
    const u = clamp(((x / pattern.halfWidth + 1) / 2) * (NODE_COLUMNS - 1), NODE_COLUMNS - 1);
    const iu = Math.min(NODE_COLUMNS - 2, Math.floor(u));
    const left = nodes[iu]!;
    out[k] = Math.exp(r2 * (a + r2 * (b + r2 * c)) + left + (u - iu) * (nodes[iu + 1]! - left));
  }
}

function clamp(v: number, max: number): number {
  return v < 0 ? 0 : Math.min(v, max);
}
