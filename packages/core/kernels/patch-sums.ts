// Normal equations of fixed(x + d) + ∇fixed·e = gain·moving(x) + offset over one patch of two pictures on the same grid: as
// pose-sums.ts, for a shift alone. All samples of a patch fall between pixels in the same way, so that rows go four at a
// time. Light in single precision; a row is added up in single, then in double precision.
import { column, cubicTaps } from './cubic';

/**
 * Stores at `sums` 15 doubles: the lower triangle, row by row, of Σ w·t·t' over the terms t: both derivatives, −moving, −1,
 * fixed. Sample (i, j) of side × side lies on pixel (left + i·step, top + j·step) of `moving` and (dx, dy) farther on
 * `fixed`, both width × height; it weighs window[i]·window[j], window[0] being 0. `step` is 1 or 2, `side` a multiple of 4.
 * Fixed light by cubic convolution (Keys); derivatives as central differences, linear between pixels along their axis,
 * cubic across. Returns 0, and stores nothing, when a sample that weighs anything falls between pixels that are not all covered (`cover` above 1/2) or lies
 * less than two pixels within the picture. `scratch` holds 2·(side·step + 8) floats and 28 doubles.
 */
export function patchSums(
  fixed: usize, cover: usize, moving: usize, width: i32, height: i32,
  left: i32, top: i32, side: i32, step: i32, dx: f64, dy: f64, window: usize, sums: usize, scratch: usize,
): i32 {
  const wholeX = floor(dx) as i32;
  const wholeY = floor(dy) as i32;
  const firstX = left + wholeX;
  const firstY = top + wholeY;
  const reach = (side - 1) * step;
  if (firstX < 1 || firstY < 1 || firstX + reach + 2 >= width || firstY + reach + 2 >= height) return 0;
  const stride = (width as usize) * 4;
  const at = ((firstY as usize) * (width as usize) + (firstX as usize)) * 4;
  const inner = at + (step as usize) * (stride + 4);
  if (!isCovered(cover + inner, stride, reach - step + 2)) return 0;
  const fx = (dx - floor(dx)) as f32;
  const fy = (dy - floor(dy)) as f32;
  const smooth = scratch;
  const sloped = scratch + ((side * step + 8) as usize) * 4;
  const totals = sloped + ((side * step + 8) as usize) * 4;
  memory.fill(totals, 0, 28 * 8);
  const y4 = cubicTaps(fy);
  const ya = v128.shuffle<f32>(y4, y4, 0, 0, 0, 0);
  const yb = v128.shuffle<f32>(y4, y4, 1, 1, 1, 1);
  const yc = v128.shuffle<f32>(y4, y4, 2, 2, 2, 2);
  const yd = v128.shuffle<f32>(y4, y4, 3, 3, 3, 3);
  const near = f32x4.splat(0.5 * (1 - fy));
  const far = f32x4.splat(0.5 * fy);
  const bytes = ((reach + 4) as usize) * 4;
  for (let j = 1; j < side; j++) {
    const row = fixed + at + ((j * step) as usize) * stride - stride - 4;
    for (let k: usize = 0; k < bytes; k += 16) {
      const p = row + k;
      v128.store(smooth + k, column(p, stride, ya, yb, yc, yd));
      const upper = f32x4.sub(v128.load(p + 2 * stride), v128.load(p));
      const lower = f32x4.sub(v128.load(p + 3 * stride), v128.load(p + stride));
      v128.store(sloped + k, f32x4.add(f32x4.mul(near, upper), f32x4.mul(far, lower)));
    }
    const to = moving + (((top + j * step) as usize) * (width as usize) + (left as usize)) * 4;
    addRow(smooth, sloped, to, side, step == 2, fx, window, load<f32>(window + 4 * j), totals);
  }
  for (let k: usize = 0, n: usize = 0; k < 15; k++) {
    if (k == 9) continue;
    store<f64>(sums + 8 * k, load<f64>(totals + 16 * n) + load<f64>(totals + 16 * n + 8));
    n++;
  }
  let weight: f64 = 0;
  for (let i = 1; i < side; i++) weight += load<f32>(window + 4 * i) as f64;
  store<f64>(sums + 72, weight * weight);
  return 1;
}

/** Whether all of side × side pixels are covered. */
function isCovered(at: usize, stride: usize, side: i32): bool {
  const half = f32x4.splat(0.5);
  const bytes = (side as usize) * 4;
  for (let y = 0; y < side; y++) {
    let k: usize = 0;
    for (; k + 16 <= bytes; k += 16) if (!i32x4.all_true(f32x4.gt(v128.load(at + k), half))) return false;
    for (; k < bytes; k += 4) if (!(load<f32>(at + k) > 0.5)) return false;
    at += stride;
  }
  return true;
}

/** Four neighbours, or every second one of eight. */
@inline
function four(at: usize, isSecond: bool): v128 {
  const a = v128.load(at);
  return isSecond ? v128.shuffle<f32>(a, v128.load(at + 16), 0, 2, 4, 6) : a;
}

/** Adds the products of a row's terms to 14 pairs of doubles. */
function addRow(
  smooth: usize, sloped: usize, moving: usize, side: i32, isSecond: bool, fx: f32, window: usize, rowWeight: f32,
  totals: usize,
): void {
  const x4 = cubicTaps(fx);
  const xa = v128.shuffle<f32>(x4, x4, 0, 0, 0, 0);
  const xb = v128.shuffle<f32>(x4, x4, 1, 1, 1, 1);
  const xc = v128.shuffle<f32>(x4, x4, 2, 2, 2, 2);
  const xd = v128.shuffle<f32>(x4, x4, 3, 3, 3, 3);
  const nearHalf = f32x4.splat(0.5 * (1 - fx));
  const farHalf = f32x4.splat(0.5 * fx);
  const v = f32x4.splat(rowWeight);
  let xx = f32x4.splat(0);
  let xy = xx;
  let yy = xx;
  let mx = xx;
  let my = xx;
  let mm = xx;
  let sx = xx;
  let sy = xx;
  let sm = xx;
  let fgx = xx;
  let fgy = xx;
  let fm = xx;
  let sf = xx;
  let ff = xx;
  const hop: usize = isSecond ? 32 : 16;
  for (let i = 0; i < side; i += 4) {
    const a = four(smooth, isSecond);
    const b = four(smooth + 4, isSecond);
    const c = four(smooth + 8, isSecond);
    const d = four(smooth + 12, isSecond);
    let f = f32x4.add(f32x4.mul(xa, a), f32x4.mul(xb, b));
    f = f32x4.add(f, f32x4.add(f32x4.mul(xc, c), f32x4.mul(xd, d)));
    const gx = f32x4.add(f32x4.mul(nearHalf, f32x4.sub(c, a)), f32x4.mul(farHalf, f32x4.sub(d, b)));
    let gy = f32x4.add(f32x4.mul(xa, four(sloped, isSecond)), f32x4.mul(xb, four(sloped + 4, isSecond)));
    gy = f32x4.add(gy, f32x4.mul(xc, four(sloped + 8, isSecond)));
    gy = f32x4.add(gy, f32x4.mul(xd, four(sloped + 12, isSecond)));
    const m = four(moving, isSecond);
    const w = f32x4.mul(v, v128.load(window));
    const wx = f32x4.mul(w, gx);
    const wy = f32x4.mul(w, gy);
    const wm = f32x4.mul(w, m);
    const wf = f32x4.mul(w, f);
    xx = f32x4.add(xx, f32x4.mul(wx, gx));
    xy = f32x4.add(xy, f32x4.mul(wx, gy));
    yy = f32x4.add(yy, f32x4.mul(wy, gy));
    mx = f32x4.add(mx, f32x4.mul(wm, gx));
    my = f32x4.add(my, f32x4.mul(wm, gy));
    mm = f32x4.add(mm, f32x4.mul(wm, m));
    sx = f32x4.add(sx, wx);
    sy = f32x4.add(sy, wy);
    sm = f32x4.add(sm, wm);
    fgx = f32x4.add(fgx, f32x4.mul(wf, gx));
    fgy = f32x4.add(fgy, f32x4.mul(wf, gy));
    fm = f32x4.add(fm, f32x4.mul(wf, m));
    sf = f32x4.add(sf, wf);
    ff = f32x4.add(ff, f32x4.mul(wf, f));
    smooth += hop;
    sloped += hop;
    moving += hop;
    window += 16;
  }
  addTo(totals, xx);
  addTo(totals + 16, xy);
  addTo(totals + 32, yy);
  addTo(totals + 48, f32x4.neg(mx));
  addTo(totals + 64, f32x4.neg(my));
  addTo(totals + 80, mm);
  addTo(totals + 96, f32x4.neg(sx));
  addTo(totals + 112, f32x4.neg(sy));
  addTo(totals + 128, sm);
  addTo(totals + 144, fgx);
  addTo(totals + 160, fgy);
  addTo(totals + 176, f32x4.neg(fm));
  addTo(totals + 192, f32x4.neg(sf));
  addTo(totals + 208, ff);
}

@inline
function addTo(at: usize, s: v128): void {
  const pair = f64x2.add(f64x2.promote_low_f32x4(s), f64x2.promote_low_f32x4(v128.shuffle<f64>(s, s, 1, 1)));
  v128.store(at, f64x2.add(v128.load(at), pair));
}
