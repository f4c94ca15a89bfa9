/** Unknowns of one strip's pose, and parameters of one edge: shift x, shift y, turn, log scale, log squeeze. */
export const DOF = 5;

/** Eigenvalues and eigenvectors (rows of `vectors`) of a symmetric n × n matrix, by cyclic Jacobi rotations. */
export function eigenSymmetric(
  matrix: ArrayLike<number>,
  n: number,
): { readonly values: Float64Array; readonly vectors: Float64Array } {
  const a = Float64Array.from(matrix);
  const vectors = new Float64Array(n * n);
  for (let i = 0; i < n; i++) vectors[i * n + i] = 1;
  for (let sweep = 0; sweep < SWEEPS; sweep++) {
    let off = 0;
    let diagonal = 0;
    for (let i = 0; i < n; i++)
      for (let j = 0; j < n; j++) {
        if (i === j) diagonal += a[i * n + i]! ** 2;
        else off += a[i * n + j]! ** 2;
      }
    if (!(off > 1e-30 * diagonal)) break;
    for (let p = 0; p < n; p++) for (let q = p + 1; q < n; q++) rotate(a, vectors, n, p, q);
  }
  return { values: Float64Array.from({ length: n }, (_, i) => a[i * n + i]!), vectors };
}

const SWEEPS = 30;

function rotate(a: Float64Array, vectors: Float64Array, n: number, p: number, q: number): void {
  const apq = a[p * n + q]!;
  if (apq === 0) return;
  const theta = (a[q * n + q]! - a[p * n + p]!) / (2 * apq);
  const t = (theta >= 0 ? 1 : -1) / (Math.abs(theta) + Math.sqrt(theta * theta + 1));
  const c = 1 / Math.sqrt(t * t + 1);
  const s = t * c;
  for (let k = 0; k < n; k++) {
    const kp = a[k * n + p]!;
    const kq = a[k * n + q]!;
    a[k * n + p] = c * kp - s * kq;
    a[k * n + q] = s * kp + c * kq;
  }
  for (let k = 0; k < n; k++) {
    const pk = a[p * n + k]!;
    const qk = a[q * n + k]!;
    a[p * n + k] = c * pk - s * qk;
    a[q * n + k] = s * pk + c * qk;
    const vp = vectors[p * n + k]!;
    const vq = vectors[q * n + k]!;
    vectors[p * n + k] = c * vp - s * vq;
    vectors[q * n + k] = s * vp + c * vq;
  }
}

/** A·B of r × k and k × c, row-major. */
export function multiply(a: ArrayLike<number>, b: ArrayLike<number>, r: number, k: number, c: number): Float64Array {
  const product = new Float64Array(r * c);
  for (let i = 0; i < r; i++)
    for (let m = 0; m < k; m++) {
      const value = a[i * k + m]!;
      if (value === 0) continue;
      for (let j = 0; j < c; j++) product[i * c + j]! += value * b[m * c + j]!;
    }
  return product;
}

/** A·B·Aᵀ of r × k and a symmetric k × k. */
export function sandwich(a: ArrayLike<number>, b: ArrayLike<number>, r: number, k: number): Float64Array {
  const left = multiply(a, b, r, k, k);
  const product = new Float64Array(r * r);
  for (let i = 0; i < r; i++)
    for (let j = 0; j <= i; j++) {
      let sum = 0;
      for (let m = 0; m < k; m++) sum += left[i * k + m]! * a[j * k + m]!;
      product[i * r + j] = sum;
      product[j * r + i] = sum;
    }
  return product;
}
