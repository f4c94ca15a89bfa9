// Separable filters, binning and derivatives.

/** Columns of a block of the vertical pass: a cache line. */
const BLOCK: usize = 16;

/** Index mirrored about the centres of the edge pixels. */
function mirrored(i: i32, n: i32): i32 {
  const period = 2 * (n - 1);
  if (period == 0) return 0;
  const m = ((i % period) + period) % period;
  return m < n ? m : period - m;
}

/**
 * Convolves a plane with a symmetric kernel, half[0] … half[radius] (floats that add up to 1 with their mirror images),
 * along rows, then along columns; borders are mirrored. Every value is its centre plus weighted differences from it: a
 * constant stays what it is to the bit.
 * `scratch` holds max(width, 16·height) + 32·radius + 16 floats.
 */
export function convolve(
  src: usize, width: usize, height: usize, half: usize, radius: usize, dst: usize, scratch: usize,
): void {
  const pad = radius * 4;
  for (let y: usize = 0; y < height; y++) {
    memory.copy(scratch + pad, src + y * width * 4, width * 4);
    for (let k = 1; k <= (radius as i32); k++) {
      const left = mirrored(-k, width as i32) * 4;
      const right = mirrored((width as i32) - 1 + k, width as i32) * 4;
      store<f32>(scratch + pad - k * 4, load<f32>(scratch + pad + left));
      store<f32>(scratch + pad + (width - 1 + k) * 4, load<f32>(scratch + pad + right));
    }
    convolveRow(scratch + pad, width, half, radius, dst + y * width * 4);
  }
  for (let x: usize = 0; x < width; x += BLOCK) {
    convolveColumns(dst + x * 4, width * 4, min<usize>(BLOCK, width - x) * 4, height, half, radius, scratch);
  }
}

function convolveRow(at: usize, width: usize, half: usize, radius: usize, dst: usize): void {
  let x: usize = 0;
  for (; x + 8 <= width; x += 8) {
    const p = at + x * 4;
    const c0 = v128.load(p);
    const c1 = v128.load(p + 16);
    const d0 = f32x4.add(c0, c0);
    const d1 = f32x4.add(c1, c1);
    let s0 = f32x4.splat(0);
    let s1 = f32x4.splat(0);
    for (let k: usize = 4; k <= radius * 4; k += 4) {
      const w = v128.load32_splat(half + k);
      const e0 = f32x4.sub(f32x4.add(v128.load(p - k), v128.load(p + k)), d0);
      const e1 = f32x4.sub(f32x4.add(v128.load(p - k + 16), v128.load(p + k + 16)), d1);
      s0 = f32x4.add(s0, f32x4.mul(w, e0));
      s1 = f32x4.add(s1, f32x4.mul(w, e1));
    }
    v128.store(dst + x * 4, f32x4.add(c0, s0));
    v128.store(dst + x * 4 + 16, f32x4.add(c1, s1));
  }
  for (; x < width; x++) {
    const p = at + x * 4;
    const c = load<f32>(p);
    let s: f32 = 0;
    for (let k: usize = 4; k <= radius * 4; k += 4) {
      s += load<f32>(half + k) * (load<f32>(p - k) + load<f32>(p + k) - (c + c));
    }
    store<f32>(dst + x * 4, c + s);
  }
}

/** Up to 16 columns, in place, through a copy whose rows are 64 bytes. */
function convolveColumns(
  at: usize, stride: usize, bytes: usize, height: usize, half: usize, radius: usize, scratch: usize,
): void {
  const line = BLOCK * 4;
  const first = scratch + radius * line;
  const spare = first + (height + radius) * line;
  for (let y: usize = 0; y < height; y++) memory.copy(first + y * line, at + y * stride, bytes);
  for (let k = 1; k <= (radius as i32); k++) {
    const up = (mirrored(-k, height as i32) as usize) * line;
    const down = (mirrored((height as i32) - 1 + k, height as i32) as usize) * line;
    const off = (k as usize) * line;
    memory.copy(first - off, first + up, line);
    memory.copy(first + (height - 1) * line + off, first + down, line);
  }
  for (let y: usize = 0; y < height; y++) {
    const p = first + y * line;
    const c0 = v128.load(p);
    const c1 = v128.load(p + 16);
    const c2 = v128.load(p + 32);
    const c3 = v128.load(p + 48);
    let s0 = f32x4.splat(0);
    let s1 = f32x4.splat(0);
    let s2 = f32x4.splat(0);
    let s3 = f32x4.splat(0);
    let up = p;
    let down = p;
    for (let k: usize = 4; k <= radius * 4; k += 4) {
      up -= line;
      down += line;
      const w = v128.load32_splat(half + k);
      s0 = f32x4.add(s0, f32x4.mul(w, bend(up, down, c0)));
      s1 = f32x4.add(s1, f32x4.mul(w, bend(up + 16, down + 16, c1)));
      s2 = f32x4.add(s2, f32x4.mul(w, bend(up + 32, down + 32, c2)));
      s3 = f32x4.add(s3, f32x4.mul(w, bend(up + 48, down + 48, c3)));
    }
    // The rows above are still needed as they were: the result goes to the picture at once.
    const to = at + y * stride;
    if (bytes == line) {
      v128.store(to, f32x4.add(c0, s0));
      v128.store(to + 16, f32x4.add(c1, s1));
      v128.store(to + 32, f32x4.add(c2, s2));
      v128.store(to + 48, f32x4.add(c3, s3));
    } else {
      v128.store(spare, f32x4.add(c0, s0));
      v128.store(spare + 16, f32x4.add(c1, s1));
      v128.store(spare + 32, f32x4.add(c2, s2));
      v128.store(spare + 48, f32x4.add(c3, s3));
      memory.copy(to, spare, bytes);
    }
  }
}

/** Sum of both neighbours less twice the centre. */
@inline
function bend(up: usize, down: usize, centre: v128): v128 {
  return f32x4.sub(f32x4.add(v128.load(up), v128.load(down)), f32x4.add(centre, centre));
}

/** Means of 2 × 2 blocks; an incomplete last row or column is dropped. `dst` may be `src`. */
export function halve(src: usize, width: usize, height: usize, dst: usize): void {
  const stride = width * 4;
  const w = width / 2;
  const h = height / 2;
  const quarter = f32x4.splat(0.25);
  for (let y: usize = 0; y < h; y++) {
    const a = src + 2 * y * stride;
    const b = a + stride;
    const to = dst + y * w * 4;
    let x: usize = 0;
    for (; x + 4 <= w; x += 4) {
      const p = f32x4.add(v128.load(a + x * 8), v128.load(b + x * 8));
      const q = f32x4.add(v128.load(a + x * 8 + 16), v128.load(b + x * 8 + 16));
      const sum = f32x4.add(v128.shuffle<f32>(p, q, 0, 2, 4, 6), v128.shuffle<f32>(p, q, 1, 3, 5, 7));
      v128.store(to + x * 4, f32x4.mul(sum, quarter));
    }
    for (; x < w; x++) {
      const p = load<f32>(a + x * 8) + load<f32>(b + x * 8);
      const q = load<f32>(a + x * 8 + 4) + load<f32>(b + x * 8 + 4);
      store<f32>(to + x * 4, (p + q) * 0.25);
    }
  }
}

/** Central differences along x and y; halves of one-sided ones at the borders. */
export function gradient(src: usize, width: usize, height: usize, gx: usize, gy: usize): void {
  const half = f32x4.splat(0.5);
  const stride = width * 4;
  for (let y: usize = 0; y < height; y++) {
    const row = src + y * stride;
    const up = y > 0 ? row - stride : row;
    const down = y < height - 1 ? row + stride : row;
    const toX = gx + y * stride;
    const toY = gy + y * stride;
    let k: usize = 0;
    for (; k + 16 <= stride; k += 16) {
      v128.store(toY + k, f32x4.mul(half, f32x4.sub(v128.load(down + k), v128.load(up + k))));
    }
    for (; k < stride; k += 4) store<f32>(toY + k, 0.5 * (load<f32>(down + k) - load<f32>(up + k)));
    store<f32>(toX, width > 1 ? 0.5 * (load<f32>(row + 4) - load<f32>(row)) : 0);
    k = 4;
    for (; k + 20 <= stride; k += 16) {
      v128.store(toX + k, f32x4.mul(half, f32x4.sub(v128.load(row + k + 4), v128.load(row + k - 4))));
    }
    for (; k + 4 < stride; k += 4) store<f32>(toX + k, 0.5 * (load<f32>(row + k + 4) - load<f32>(row + k - 4)));
    if (width > 1) store<f32>(toX + stride - 4, 0.5 * (load<f32>(row + stride - 4) - load<f32>(row + stride - 8)));
  }
}
