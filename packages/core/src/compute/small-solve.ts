/**
 * Solves the symmetric positive definite system A·x = b in place of `b` by Cholesky factors, for the handful of
 * unknowns of one alignment. `a` is n × n, row-major, lower half used, overwritten by its factor. Returns false, with
 * `b` unspecified, when A is not positive definite to working precision.
 */
export function solveInPlace(a: Float64Array, b: Float64Array, n: number): boolean {
  if (!factor(a, n)) return false;
  substitute(a, b, n);
  return true;
}

/** The inverse of a symmetric positive definite n × n matrix, or undefined when it is not one. */
export function invertSymmetric(a: Float64Array, n: number): Float64Array | undefined {
  const lower = Float64Array.from(a);
  if (!factor(lower, n)) return undefined;
  const inverse = new Float64Array(n * n);
  const column = new Float64Array(n);
  for (let j = 0; j < n; j++) {
    column.fill(0);
    column[j] = 1;
    substitute(lower, column, n);
    for (let i = 0; i < n; i++) inverse[i * n + j] = column[i]!;
  }
  return inverse;
}

function factor(a: Float64Array, n: number): boolean {
  for (let j = 0; j < n; j++) {
    const scale = a[j * n + j]!;
    for (let i = j; i < n; i++) {
      let sum = a[i * n + j]!;
      for (let k = 0; k < j; k++) sum -= a[i * n + k]! * a[j * n + k]!;
      if (i === j) {
        if (!(sum > 1e-12 * scale) || !(scale > 0)) return false;
        a[j * n + j] = Math.sqrt(sum);
      } else {
        a[i * n + j] = sum / a[j * n + j]!;
      }
    }
  }
  return true;
}

function substitute(lower: Float64Array, b: Float64Array, n: number): void {
  for (let i = 0; i < n; i++) {
    let sum = b[i]!;
    for (let k = 0; k < i; k++) sum -= lower[i * n + k]! * b[k]!;
    b[i] = sum / lower[i * n + i]!;
  }
  for (let i = n - 1; i >= 0; i--) {
    let sum = b[i]!;
    for (let k = i + 1; k < n; k++) sum -= lower[k * n + i]! * b[k]!;
    b[i] = sum / lower[i * n + i]!;
  }
}
