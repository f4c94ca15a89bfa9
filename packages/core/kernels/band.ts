// Steps of the filter that keeps detail (registration/band-pass.ts), and doubling, for blurs on a coarser grid.

/** Square root of the light, black where it is negative, times the coverage when there is one. */
export function rootLight(src: usize, cover: usize, count: usize, dst: usize): void {
  const zero = f32x4.splat(0);
  for (let k: usize = 0; k < count * 4; k += 16) {
    let v = f32x4.sqrt(f32x4.max(zero, v128.load(src + k)));
    if (cover != 0) v = f32x4.mul(v, v128.load(cover + k));
    v128.store(dst + k, v);
  }
}

/**
 * Turns `fine` into fine − coarse and `coarse` into its square. With a coverage (above 1/2 where there is data) both are
 * first divided by their blurred coverages; 0 where nothing is covered.
 */
export function bandOf(
  fine: usize, coarse: usize, cover: usize, fineCover: usize, coarseCover: usize, count: usize,
): void {
  const half = f32x4.splat(0.5);
  for (let k: usize = 0; k < count * 4; k += 16) {
    let a = v128.load(fine + k);
    let b = v128.load(coarse + k);
    if (cover != 0) {
      const is = f32x4.gt(v128.load(cover + k), half);
      a = v128.and(is, f32x4.div(a, v128.load(fineCover + k)));
      b = v128.and(is, f32x4.div(b, v128.load(coarseCover + k)));
    }
    const detail = f32x4.sub(a, b);
    v128.store(fine + k, detail);
    v128.store(coarse + k, f32x4.mul(detail, detail));
  }
}

/** Root of the energy, which is first divided by its blurred coverage when there is one. */
export function contrastOf(energy: usize, cover: usize, count: usize): void {
  const zero = f32x4.splat(0);
  const least = f32x4.splat(1e-3);
  for (let k: usize = 0; k < count * 4; k += 16) {
    let v = f32x4.max(zero, v128.load(energy + k));
    if (cover != 0) v = f32x4.div(v, f32x4.max(least, v128.load(cover + k)));
    v128.store(energy + k, f32x4.sqrt(v));
  }
}

/** Divides detail by √(contrast² + floor²), and a trifle more. */
export function evenOut(detail: usize, contrast: usize, count: usize, floor: f32): void {
  const floor2 = f32x4.splat(floor * floor);
  const trifle = f32x4.splat(1e-12);
  for (let k: usize = 0; k < count * 4; k += 16) {
    const c = v128.load(contrast + k);
    const by = f32x4.add(f32x4.sqrt(f32x4.add(f32x4.mul(c, c), floor2)), trifle);
    v128.store(detail + k, f32x4.div(v128.load(detail + k), by));
  }
}

/**
 * Enlarges a plane of ⌊width/2⌋ × ⌊height/2⌋ px twice, along straight lines between pixel centres; beyond the outermost
 * centres the nearest counts. A constant stays what it is. `scratch` holds width/2 + 8 floats.
 */
export function double(src: usize, width: i32, height: i32, dst: usize, scratch: usize): void {
  const w = width >> 1;
  const h = height >> 1;
  const quarter = f32x4.splat(0.25);
  const most = f32x4.splat(0.75);
  const row = scratch + 16;
  for (let y = 0; y < height; y++) {
    const near = min(y >> 1, h - 1);
    const other = min(max(y & 1 ? near + 1 : near - 1, 0), h - 1);
    const a = src + ((near * w) as usize) * 4;
    const b = src + ((other * w) as usize) * 4;
    for (let x = 0; x < w; x += 4) {
      const k = (x as usize) * 4;
      const p = v128.load(a + k);
      v128.store(row + k, f32x4.add(p, f32x4.mul(quarter, f32x4.sub(v128.load(b + k), p))));
    }
    // One pixel more on either side.
    store<f32>(row - 4, load<f32>(row));
    store<f32>(row + (w as usize) * 4, load<f32>(row + ((w - 1) as usize) * 4));
    const to = dst + ((y * width) as usize) * 4;
    store<f32>(to, load<f32>(row));
    let x = 0;
    // Four steps from one centre to the next: a quarter and three quarters of the way.
    for (; x + 4 < w; x += 4) {
      const p = v128.load(row + (x as usize) * 4);
      const d = f32x4.sub(v128.load(row + (x as usize) * 4 + 4), p);
      const u = f32x4.add(p, f32x4.mul(quarter, d));
      const v = f32x4.add(p, f32x4.mul(most, d));
      v128.store(to + (x as usize) * 8 + 4, v128.shuffle<f32>(u, v, 0, 4, 1, 5));
      v128.store(to + (x as usize) * 8 + 20, v128.shuffle<f32>(u, v, 2, 6, 3, 7));
    }
    for (; x < w; x++) {
      const p = load<f32>(row + (x as usize) * 4);
      const d = load<f32>(row + (x as usize) * 4 + 4) - p;
      store<f32>(to + (x as usize) * 8 + 4, p + 0.25 * d);
      if (2 * x + 2 < width) store<f32>(to + (x as usize) * 8 + 8, p + 0.75 * d);
    }
  }
}
