// Six taps each way, from a table: entry k holds the weights of the samples at −2 … 3 for the value at k/steps, six
// floats and two zeros, 32 bytes. Weights between entries are taken on straight lines.

/** Bytes of an entry. */
export const TAP_BYTES: usize = 32;

/** Weights of the first four samples at `entry` plus a part of the way to the next one. */
@inline
export function fourTaps(entry: usize, part: f32): v128 {
  const w = v128.load(entry);
  return f32x4.add(w, f32x4.mul(f32x4.splat(part), f32x4.sub(v128.load(entry + 32), w)));
}

/** Weights of the last two samples, and two zeros. */
@inline
export function twoTaps(entry: usize, part: f32): v128 {
  return fourTaps(entry + 16, part);
}

/**
 * Four columns' sums over six rows: `count` bytes from `at` on, stored at `out`. May read up to 12 bytes and write up to
 * 12 bytes more.
 */
@inline
export function sixRows(at: usize, stride: usize, y4: v128, y2: v128, count: usize, out: usize): void {
  const a = v128.shuffle<f32>(y4, y4, 0, 0, 0, 0);
  const b = v128.shuffle<f32>(y4, y4, 1, 1, 1, 1);
  const c = v128.shuffle<f32>(y4, y4, 2, 2, 2, 2);
  const d = v128.shuffle<f32>(y4, y4, 3, 3, 3, 3);
  const e = v128.shuffle<f32>(y2, y2, 0, 0, 0, 0);
  const f = v128.shuffle<f32>(y2, y2, 1, 1, 1, 1);
  const at3 = at + 3 * stride;
  for (let k: usize = 0; k < count; k += 16) {
    let v = f32x4.add(f32x4.mul(a, v128.load(at + k)), f32x4.mul(b, v128.load(at + stride + k)));
    v = f32x4.add(v, f32x4.mul(c, v128.load(at + 2 * stride + k)));
    v = f32x4.add(v, f32x4.mul(d, v128.load(at3 + k)));
    v = f32x4.add(v, f32x4.mul(e, v128.load(at3 + stride + k)));
    v = f32x4.add(v, f32x4.mul(f, v128.load(at3 + 2 * stride + k)));
    v128.store(out + k, v);
  }
}

/** Four sums over six neighbours each from `at` on. */
@inline
export function sixColumns(at: usize, x4: v128, x2: v128): v128 {
  let v = f32x4.mul(v128.shuffle<f32>(x4, x4, 0, 0, 0, 0), v128.load(at));
  v = f32x4.add(v, f32x4.mul(v128.shuffle<f32>(x4, x4, 1, 1, 1, 1), v128.load(at + 4)));
  v = f32x4.add(v, f32x4.mul(v128.shuffle<f32>(x4, x4, 2, 2, 2, 2), v128.load(at + 8)));
  v = f32x4.add(v, f32x4.mul(v128.shuffle<f32>(x4, x4, 3, 3, 3, 3), v128.load(at + 12)));
  v = f32x4.add(v, f32x4.mul(v128.shuffle<f32>(x2, x2, 0, 0, 0, 0), v128.load(at + 16)));
  return f32x4.add(v, f32x4.mul(v128.shuffle<f32>(x2, x2, 1, 1, 1, 1), v128.load(at + 20)));
}
