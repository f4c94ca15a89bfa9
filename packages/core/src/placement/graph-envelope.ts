/**
 * A symmetric positive definite matrix stored by its envelope: of each row only what lies between its first entry and
 * the diagonal. Cholesky factors fill nothing outside it (George & Liu 1981).
 */
export interface Envelope {
  readonly size: number;
  /** First column of each row, and where the row starts in `values`. */
  readonly first: Int32Array;
  readonly start: Int32Array;
  readonly values: Float64Array;
}

/** Zeros, with the given first column of each row. */
export function createEnvelope(first: ArrayLike<number>): Envelope {
  const size = first.length;
  const start = new Int32Array(size + 1);
  for (let i = 0; i < size; i++) start[i + 1] = start[i]! + (i - first[i]! + 1);
  return { size, first: Int32Array.from(first), start, values: new Float64Array(start[size]!) };
}

/** Position in `values` of row i, column j, where first[i] ≤ j ≤ i. */
export function seat(e: Envelope, i: number, j: number): number {
  return e.start[i]! + j - e.first[i]!;
}

/** Replaces the matrix by its Cholesky factor. Returns false when it is not positive definite to working precision. */
export function factorEnvelope({ size, first, start, values }: Envelope): boolean {
  for (let i = 0; i < size; i++) {
    const fi = first[i]!;
    const rowI = start[i]! - fi;
    const scale = values[rowI + i]!;
    for (let j = fi; j <= i; j++) {
      const rowJ = start[j]! - first[j]!;
      let sum = values[rowI + j]!;
      for (let k = Math.max(fi, first[j]!); k < j; k++) sum -= values[rowI + k]! * values[rowJ + k]!;
      if (j < i) values[rowI + j] = sum / values[rowJ + j]!;
      else if (sum > 1e-13 * scale && sum > 0) values[rowI + i] = Math.sqrt(sum);
      else return false;
    }
  }
  return true;
}

/** Solves for one right-hand side in place, with the factor. Rows of `b` before `from` must be 0. */
export function substituteEnvelope({ size, first, start, values }: Envelope, b: Float64Array, from = 0): void {
  for (let i = from; i < size; i++) {
    const row = start[i]! - first[i]!;
    let sum = b[i]!;
    for (let k = Math.max(from, first[i]!); k < i; k++) sum -= values[row + k]! * b[k]!;
    b[i] = sum / values[row + i]!;
  }
  for (let i = size - 1; i >= 0; i--) {
    const row = start[i]! - first[i]!;
    const value = b[i]! / values[row + i]!;
    b[i] = value;
    for (let k = first[i]!; k < i; k++) b[k]! -= values[row + k]! * value;
  }
}

/** The full inverse, size × size, from the factor. */
export function invertEnvelope(e: Envelope): Float64Array {
  const { size } = e;
  const inverse = new Float64Array(size * size);
  for (let j = 0; j < size; j++) {
    const row = inverse.subarray(j * size, (j + 1) * size);
    row[j] = 1;
    substituteEnvelope(e, row, j);
  }
  return inverse;
}

/** Reverse Cuthill–McKee order of a graph's nodes, which keeps neighbours close: `order[k]` is the node at place k. */
export function narrowOrder(nodes: number, joins: readonly (readonly [number, number])[]): number[] {
  const near = Array.from({ length: nodes }, () => new Set<number>());
  for (const [a, b] of joins) {
    near[a]!.add(b);
    near[b]!.add(a);
  }
  const byDegree = (a: number, b: number): number => near[a]!.size - near[b]!.size || a - b;
  const placed = new Set<number>();
  const order: number[] = [];
  const spread = (from: number, into: number[], seen: Set<number>): void => {
    const begin = into.length;
    into.push(from);
    seen.add(from);
    for (let k = begin; k < into.length; k++)
      for (const next of [...near[into[k]!]!].sort(byDegree))
        if (!seen.has(next)) {
          seen.add(next);
          into.push(next);
        }
  };
  for (const node of Array.from({ length: nodes }, (_, k) => k).sort(byDegree)) {
    if (placed.has(node)) continue;
    // The far end of a walk from anywhere is a good place to begin.
    const trial: number[] = [];
    spread(node, trial, new Set());
    spread(trial.at(-1)!, order, placed);
  }
  return order.reverse();
}
