/** A complex field on a grid whose sides are powers of two, row-major, real and imaginary parts apart. */
export interface ComplexField {
  readonly width: number;
  readonly height: number;
  readonly re: Float64Array;
  readonly im: Float64Array;
}

/** A new complex field of zeros. Both sides must be powers of two. */
export function createComplexField(width: number, height: number): ComplexField {
  if (!isPowerOfTwo(width) || !isPowerOfTwo(height))
    throw new RangeError(`FFT sides must be powers of two, got ${width} x ${height}`);
  return { width, height, re: new Float64Array(width * height), im: new Float64Array(width * height) };
}

/** The smallest power of two that is at least `n`. */
export function nextPowerOfTwo(n: number): number {
  let p = 1;
  while (p < n) p *= 2;
  return p;
}

/**
 * Two-dimensional Fourier transform in place, radix-2 decimation in time (Cooley & Tukey 1965). Forward is
 * sum f·exp(-2πi(kx/W + ly/H)) without scaling; inverse divides by width · height, so that the pair is the identity.
 */
export function fft2(field: ComplexField, direction: 'forward' | 'inverse'): void {
  const { width, height, re, im } = field;
  const sign = direction === 'forward' ? -1 : 1;
  const rows = planFor(width);
  for (let y = 0; y < height; y++) transform(rows, re, im, y * width, sign);
  const columns = planFor(height);
  const blockRe = new Float64Array(height * COLUMN_BLOCK);
  const blockIm = new Float64Array(height * COLUMN_BLOCK);
  for (let x0 = 0; x0 < width; x0 += COLUMN_BLOCK) {
    const count = Math.min(COLUMN_BLOCK, width - x0);
    for (let y = 0; y < height; y++) {
      for (let k = 0; k < count; k++) {
        blockRe[k * height + y] = re[y * width + x0 + k]!;
        blockIm[k * height + y] = im[y * width + x0 + k]!;
      }
    }
    for (let k = 0; k < count; k++) transform(columns, blockRe, blockIm, k * height, sign);
    for (let y = 0; y < height; y++) {
      for (let k = 0; k < count; k++) {
        re[y * width + x0 + k] = blockRe[k * height + y]!;
        im[y * width + x0 + k] = blockIm[k * height + y]!;
      }
    }
  }
  if (direction === 'inverse') {
    const scale = 1 / (width * height);
    for (let i = 0; i < re.length; i++) {
      re[i]! *= scale;
      im[i]! *= scale;
    }
  }
}

const COLUMN_BLOCK = 16;

interface Plan {
  readonly n: number;
  readonly reversed: Uint32Array;
  readonly cos: Float64Array;
  readonly sin: Float64Array;
}

const plans = new Map<number, Plan>();

function planFor(n: number): Plan {
  const known = plans.get(n);
  if (known) return known;
  const reversed = new Uint32Array(n);
  for (let i = 1; i < n; i++) reversed[i] = (reversed[i >> 1]! >> 1) | (i & 1 ? n >> 1 : 0);
  const cos = new Float64Array(n / 2 || 1);
  const sin = new Float64Array(n / 2 || 1);
  for (let k = 0; k < n / 2; k++) {
    cos[k] = Math.cos((2 * Math.PI * k) / n);
    sin[k] = Math.sin((2 * Math.PI * k) / n);
  }
  const plan = { n, reversed, cos, sin };
  plans.set(n, plan);
  return plan;
}

function transform(plan: Plan, re: Float64Array, im: Float64Array, start: number, sign: number): void {
  const { n, reversed, cos, sin } = plan;
  for (let i = 0; i < n; i++) {
    const j = reversed[i]!;
    if (j > i) {
      const a = start + i;
      const b = start + j;
      const r = re[a]!;
      const m = im[a]!;
      re[a] = re[b]!;
      im[a] = im[b]!;
      re[b] = r;
      im[b] = m;
    }
  }
  for (let half = 1; half < n; half *= 2) {
    const step = n / (2 * half);
    for (let k = 0; k < half; k++) {
      const wr = cos[k * step]!;
      const wi = sign * sin[k * step]!;
      for (let i = start + k; i < start + n; i += 2 * half) {
        const j = i + half;
        const tr = re[j]! * wr - im[j]! * wi;
        const ti = re[j]! * wi + im[j]! * wr;
        re[j] = re[i]! - tr;
        im[j] = im[i]! - ti;
        re[i]! += tr;
        im[i]! += ti;
      }
    }
  }
}

function isPowerOfTwo(n: number): boolean {
  return Number.isInteger(n) && n > 0 && (n & (n - 1)) === 0;
}
