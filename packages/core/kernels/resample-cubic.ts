// Planes resampled by cubic convolution through an affine map, target px -> source px, (xx, xy, yx, yy, tx, ty). The
// target's value and coverage are 0 where the source does not reach.
import { column, cubicTaps, fourByFour, fourShifted, tap0, tap1, tap2, tap3 } from './cubic';
import { floats, integers } from './warp-row';

/**
 * Cubic convolution of a source of width × height padded by 1 before and 2 after. Covers what falls between the centres
 * of the outermost pixels and, with a `foot` (footprint of 4 from 1 before), reads covered pixels only.
 */
export function resampleCubic(
  padded: usize, width: usize, height: usize, foot: usize,
  xx: f64, xy: f64, yx: f64, yy: f64, tx: f64, ty: f64,
  dst: usize, coverage: usize, dstWidth: i32, dstHeight: i32,
): void {
  const stride = (width + 3) * 4;
  const right = (width - 1) as f64;
  const bottom = (height - 1) as f64;
  const isShift = xx == 1 && yx == 0;
  memory.fill(dst, 0, dstWidth * dstHeight * 4);
  memory.fill(coverage, 0, dstWidth * dstHeight * 4);
  for (let y = 0; y < dstHeight; y++) {
    const px = xy * (y as f64) + tx;
    const py = yy * (y as f64) + ty;
    let from = 0;
    let to = dstWidth;
    while (from < to && !reaches(xx, yx, px, py, from, right, bottom)) from++;
    while (from < to && !reaches(xx, yx, px, py, to - 1, right, bottom)) to--;
    for (let x = from; x < to; x++) {
      const at = (y * dstWidth + x) * 4;
      const sx = xx * (x as f64) + px;
      const sy = yx * (x as f64) + py;
      const ix = sx as i32;
      const iy = sy as i32;
      if (x + 4 <= to && foot == 0) {
        const p = padded + (iy as usize) * stride + ix * 4;
        if (isShift) {
          const x4 = cubicTaps((sx - (ix as f64)) as f32);
          const y4 = cubicTaps((sy - (iy as f64)) as f32);
          v128.store(dst + at, fourShifted(p, stride, x4, y4));
        } else if (!fourWarped(padded, stride, xx, yx, px, py, x, dst + at)) {
          one(padded, stride, sx, sy, ix, iy, dst + at);
          store<f32>(coverage + at, 1);
          continue;
        }
        v128.store(coverage + at, f32x4.splat(1));
        x += 3;
        continue;
      }
      if (foot != 0 && !(load<f32>(foot + (iy * (width as i32) + ix) * 4) > 0.5)) continue;
      one(padded, stride, sx, sy, ix, iy, dst + at);
      store<f32>(coverage + at, 1);
    }
  }
}

/** Whether pixel x of a row falls between the outermost centres of the source. */
@inline
function reaches(xx: f64, yx: f64, px: f64, py: f64, x: i32, right: f64, bottom: f64): bool {
  const sx = xx * (x as f64) + px;
  const sy = yx * (x as f64) + py;
  return sx >= 0 && sy >= 0 && sx <= right && sy <= bottom;
}

@inline
function one(padded: usize, stride: usize, sx: f64, sy: f64, ix: i32, iy: i32, dst: usize): void {
  const x4 = cubicTaps((sx - (ix as f64)) as f32);
  const y4 = cubicTaps((sy - (iy as f64)) as f32);
  store<f32>(dst, fourByFour(padded + (iy as usize) * stride + ix * 4, stride, x4, y4));
}

/** Four neighbours whose whole parts run on by one within one row; false, and nothing done, when they do not. */
@inline
function fourWarped(
  padded: usize, stride: usize, xx: f64, yx: f64, px: f64, py: f64, x: i32, dst: usize,
): bool {
  const a = f64x2((x as f64), ((x + 1) as f64));
  const b = f64x2(((x + 2) as f64), ((x + 3) as f64));
  const xa = f64x2.add(f64x2.mul(f64x2.splat(xx), a), f64x2.splat(px));
  const xb = f64x2.add(f64x2.mul(f64x2.splat(xx), b), f64x2.splat(px));
  const ya = f64x2.add(f64x2.mul(f64x2.splat(yx), a), f64x2.splat(py));
  const yb = f64x2.add(f64x2.mul(f64x2.splat(yx), b), f64x2.splat(py));
  const wxa = f64x2.floor(xa);
  const wxb = f64x2.floor(xb);
  const wya = f64x2.floor(ya);
  const wyb = f64x2.floor(yb);
  const ix = integers(wxa, wxb);
  const iy = integers(wya, wyb);
  const first = i32x4.extract_lane(ix, 0);
  const row = i32x4.extract_lane(iy, 0);
  const isRun = i32x4.eq(ix, i32x4.add(i32x4.splat(first), i32x4(0, 1, 2, 3)));
  if (!i32x4.all_true(v128.and(isRun, i32x4.eq(iy, i32x4.splat(row))))) return false;
  const fx = floats(f64x2.sub(xa, wxa), f64x2.sub(xb, wxb));
  const fy = floats(f64x2.sub(ya, wya), f64x2.sub(yb, wyb));
  const y0 = tap0(fy);
  const y1 = tap1(fy);
  const y2 = tap2(fy);
  const y3 = tap3(fy);
  const p = padded + (row as usize) * stride + first * 4;
  let v = f32x4.mul(tap0(fx), column(p, stride, y0, y1, y2, y3));
  v = f32x4.add(v, f32x4.mul(tap1(fx), column(p + 4, stride, y0, y1, y2, y3)));
  v = f32x4.add(v, f32x4.mul(tap2(fx), column(p + 8, stride, y0, y1, y2, y3)));
  v128.store(dst, f32x4.add(v, f32x4.mul(tap3(fx), column(p + 12, stride, y0, y1, y2, y3))));
  return true;
}
