// Planes resampled by six taps each way through an affine map, target px -> source px, (xx, xy, yx, yy, tx, ty). The
// target's value and coverage are 0 where the source does not reach.
import { sixColumns, sixRows, TAP_BYTES } from './taps';
import { warpRow } from './warp-row';

/**
 * Six taps each way from a table (taps.ts), at the entry nearest to the position. Covers what lies more than two pixels
 * within the outermost centres and, with a `foot` (footprint of 6 from 2 before), reads covered pixels only. `scratch`
 * holds a row of the target and 32 floats.
 */
export function resampleSix(
  src: usize, width: usize, height: usize, foot: usize,
  xx: f64, xy: f64, yx: f64, yy: f64, tx: f64, ty: f64,
  dst: usize, coverage: usize, dstWidth: i32, dstHeight: i32, taps: usize, steps: f64, scratch: usize,
): void {
  const right = (width as f64) - 3;
  const bottom = (height as f64) - 3;
  const stride = width * 4;
  const isShift = xx == 1 && yx == 0;
  for (let y = 0; y < dstHeight; y++) {
    const row = y * dstWidth * 4;
    const px = xy * (y as f64) + tx;
    const py = yy * (y as f64) + ty;
    let from = 0;
    let to = dstWidth;
    while (from < to && !within(xx, yx, px, py, from, right, bottom)) from++;
    while (from < to && !within(xx, yx, px, py, to - 1, right, bottom)) to--;
    memory.fill(dst + row, 0, dstWidth * 4);
    memory.fill(coverage + row, 0, dstWidth * 4);
    if (from >= to) continue;
    // Taps and footprint of a shift agree even where rounding puts a position on the other side of a whole number.
    const firstX = ((from as f64) + px) as i32;
    if (isShift) {
      const sx = (from as f64) + px;
      shiftedRow(src, stride, sx, py, taps, steps, to - from, dst + row + from * 4, scratch);
    } else {
      warpRow(src, 0, 1, stride, taps, steps, false, xx, yx, px, py, 0, from, to, dst + row, 0, scratch);
    }
    for (let x = from; x < to; x++) {
      let covered = true;
      if (foot != 0) {
        const ix = isShift ? firstX + x - from : ((xx * (x as f64) + px) as i32);
        const iy = (yx * (x as f64) + py) as i32;
        covered = load<f32>(foot + (iy * (width as i32) + ix) * 4) > 0.5;
        if (!covered) store<f32>(dst + row + x * 4, 0);
      }
      if (covered) store<f32>(coverage + row + x * 4, 1);
    }
  }
}

/** Whether pixel x of a row lies far enough within the source. */
@inline
function within(xx: f64, yx: f64, px: f64, py: f64, x: i32, right: f64, bottom: f64): bool {
  const sx = xx * (x as f64) + px;
  const sy = yx * (x as f64) + py;
  return sx > 2 && sy > 2 && sx < right && sy < bottom;
}

/** `count` pixels from (sx, sy) on along a row, one source pixel apart. */
export function shiftedRow(
  src: usize, stride: usize, sx: f64, sy: f64, taps: usize, steps: f64, count: i32, dst: usize, scratch: usize,
): void {
  const ix = sx as i32;
  const iy = sy as i32;
  const kx = taps + (floor((sx - (ix as f64)) * steps + 0.5) as usize) * TAP_BYTES;
  const ky = taps + (floor((sy - (iy as f64)) * steps + 0.5) as usize) * TAP_BYTES;
  const at = src + ((iy - 2) as usize) * stride + (ix - 2) * 4;
  sixRows(at, stride, v128.load(ky), v128.load(ky + 16), (count + 5) * 4, scratch);
  const x4 = v128.load(kx);
  const x2 = v128.load(kx + 16);
  let k = 0;
  for (; k + 4 <= count; k += 4) v128.store(dst + k * 4, sixColumns(scratch + k * 4, x4, x2));
  if (k == count) return;
  const rest = sixColumns(scratch + k * 4, x4, x2);
  store<f32>(dst + k * 4, f32x4.extract_lane(rest, 0));
  if (k + 1 < count) store<f32>(dst + k * 4 + 4, f32x4.extract_lane(rest, 1));
  if (k + 2 < count) store<f32>(dst + k * 4 + 8, f32x4.extract_lane(rest, 2));
}
