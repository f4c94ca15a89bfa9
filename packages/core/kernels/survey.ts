// A frame's first look, some rows at a time: binned light, sums of blocks, pixels that stand out (src/compute/kernels-survey.ts).

/**
 * Mean over all channels and factor × factor pixels for `rows`·factor rows from `planes` on, which lie planeBytes apart;
 * incomplete columns at the right are dropped. `scratch` holds a row and 4 floats.
 */
export function binLight(
  planes: usize, planeBytes: usize, channels: usize, width: usize, factor: usize, rows: usize, dst: usize, scratch: usize,
): void {
  const stride = width * 4;
  const columns = width / factor;
  const scale: f32 = 1 / ((channels * factor * factor) as f32);
  for (let row: usize = 0; row < rows; row++) {
    const first = planes + row * factor * stride;
    for (let k: usize = 0; k < stride; k += 16) {
      let s = f32x4.splat(0);
      for (let c: usize = 0; c < channels; c++) {
        const at = first + c * planeBytes + k;
        for (let j: usize = 0; j < factor; j++) s = f32x4.add(s, v128.load(at + j * stride));
      }
      v128.store(scratch + k, s);
    }
    const to = dst + row * columns * 4;
    let from = scratch;
    for (let x: usize = 0; x < columns; x++) {
      let sum = load<f32>(from);
      for (let i: usize = 1; i < factor; i++) sum += load<f32>(from + 4 * i);
      store<f32>(to + 4 * x, sum * scale);
      from += 4 * factor;
    }
  }
}

/**
 * Means of `columns` blocks of side × side pixels that lie side by side, the side a multiple of 4, of the light (`means`,
 * when not 0), of its square (`squares`, when not 0), and the share of pixels from `clipping` on (`clipped`, when not 0).
 * Every row of a block is added up in single, then in double precision; `scratch` holds 3·columns doubles.
 */
export function blockRow(
  src: usize, width: usize, columns: usize, side: usize, clipping: f32, means: usize, squares: usize, clipped: usize,
  scratch: usize,
): void {
  const from = f32x4.splat(clipping);
  const one = f32x4.splat(1);
  memory.fill(scratch, 0, 24 * columns);
  for (let y: usize = 0; y < side; y++) {
    let at = src + y * width * 4;
    for (let c: usize = 0; c < columns; c++) {
      let s = f32x4.splat(0);
      let q = s;
      let n = s;
      for (let k: usize = 0; k < side * 4; k += 16) {
        const v = v128.load(at + k);
        s = f32x4.add(s, v);
        if (squares != 0) q = f32x4.add(q, f32x4.mul(v, v));
        if (clipped != 0) n = f32x4.add(n, v128.and(one, f32x4.ge(v, from)));
      }
      const to = scratch + 24 * c;
      store<f64>(to, load<f64>(to) + total(s));
      store<f64>(to + 8, load<f64>(to + 8) + total(q));
      store<f64>(to + 16, load<f64>(to + 16) + total(n));
      at += side * 4;
    }
  }
  const area = (side * side) as f64;
  for (let c: usize = 0; c < columns; c++) {
    const at = scratch + 24 * c;
    if (means != 0) store<f32>(means + 4 * c, (load<f64>(at) / area) as f32);
    if (squares != 0) store<f32>(squares + 4 * c, (load<f64>(at + 8) / area) as f32);
    if (clipped != 0) store<f32>(clipped + 4 * c, (load<f64>(at + 16) / area) as f32);
  }
}

@inline
function total(s: v128): f64 {
  const pair = f64x2.add(f64x2.promote_low_f32x4(s), f64x2.promote_low_f32x4(v128.shuffle<f64>(s, s, 1, 1)));
  return f64x2.extract_lane(pair, 0) + f64x2.extract_lane(pair, 1);
}

/**
 * Pixels of `rows` rows from `planes` on, but for the first and the last of each row, that are brighter, or darker, than all
 * eight neighbours in any channel by more than `margin` and by more than `steepness` of the whole range about them. Stores
 * up to `most` indices from `first` on, row-major, ascending; returns how many there are. A row lies before and after.
 */
export function standOut(
  planes: usize, planeBytes: usize, channels: usize, width: usize, rows: usize, margin: f32, steepness: f32, first: u32,
  out: usize, most: u32,
): u32 {
  const stride = width * 4;
  const clear = f32x4.splat(margin);
  const steep = f32x4.splat(steepness);
  let count: u32 = 0;
  for (let y: usize = 0; y < rows; y++) {
    for (let x: usize = 1; x < width - 1; x += 4) {
      let found = 0;
      for (let c: usize = 0; c < channels; c++) {
        const p = planes + c * planeBytes + y * stride + x * 4;
        const v = v128.load(p);
        const left = v128.load(p - 4);
        if (!v128.any_true(f32x4.gt(f32x4.abs(f32x4.sub(v, left)), clear))) continue;
        found |= spikes(p, stride, v, left, clear, steep);
      }
      if (found == 0) continue;
      for (let i: usize = 0; i < 4 && x + i < width - 1; i++) {
        if (((found >> (i as i32)) & 1) == 0) continue;
        if (count < most) store<u32>(out + 4 * count, first + ((y * width + x + i) as u32));
        count++;
      }
    }
  }
  return count;
}

@inline
function spikes(p: usize, stride: usize, v: v128, left: v128, clear: v128, steep: v128): i32 {
  let high = left;
  let low = left;
  for (let k: usize = 0; k < 7; k++) {
    // Right, then the three above, then the three below.
    const at = k == 0 ? p + 4 : k < 4 ? p - stride - 8 + 4 * k : p + stride - 20 + 4 * k;
    const n = v128.load(at);
    high = f32x4.max(high, n);
    low = f32x4.min(low, n);
  }
  const above = f32x4.sub(v, high);
  const below = f32x4.sub(low, v);
  const bright = v128.and(f32x4.gt(above, clear), f32x4.gt(above, f32x4.mul(steep, f32x4.sub(v, low))));
  const dark = v128.and(f32x4.gt(below, clear), f32x4.gt(below, f32x4.mul(steep, f32x4.sub(high, v))));
  return i32x4.bitmask(v128.or(bright, dark));
}
