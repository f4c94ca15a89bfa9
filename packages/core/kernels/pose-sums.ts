// Normal equations of fixed(pose(x)) + ∇fixed·d = gain·moving(x) + offset over a box of the moving picture, d a small
// change of the pose about a centre. Light in single precision, positions in double; sums run over 64 pixels in single,
// then in double precision.
import { cubicTaps, fourByFour } from './cubic';

/** Pixels whose terms lie in scratch at a time. */
const CHUNK = 64;
const LINE: usize = 4 * CHUNK;

/**
 * Adds to `sums` (doubles) the lower triangle, row by row, of Σ w·t·t' over the terms t: derivatives for shift x, shift y,
 * turn, scale, squeeze (the first `parameters` of them; those after the shifts about (cx, cy) and divided by `reach`),
 * −moving, −1, fixed. Returns the number of pixels that took part: those with moving coverage from 1/2 on, weight above
 * 0, that fall more than a pixel within the fixed picture, on coverage from 0.99 on. Absent planes are 0. `windowX` and
 * `windowY` hold a weight for each column and row of the box that takes part. `scratch` holds 9·64 floats.
 */
export function poseSums(
  fixed: usize, width: usize, height: usize, gradientX: usize, gradientY: usize, fixedCoverage: usize,
  moving: usize, movingWidth: usize, movingCoverage: usize, weight: usize,
  xx: f64, xy: f64, yx: f64, yy: f64, tx: f64, ty: f64,
  left: i32, top: i32, right: i32, bottom: i32, step: i32, windowX: usize, windowY: usize,
  parameters: i32, cx: f64, cy: f64, reach: f64, sums: usize, scratch: usize,
): i32 {
  const weights = scratch + ((parameters + 3) as usize) * LINE;
  let count = 0;
  let row: usize = 0;
  for (let y = top; y < bottom; y += step) {
    const windowRow: f32 = windowY == 0 ? 1 : load<f32>(windowY + 4 * row);
    let column: usize = 0;
    for (let x0 = left; x0 < right; x0 += step * CHUNK) {
      const n = min(CHUNK, (right - x0 + step - 1) / step);
      let used = 0;
      for (let k = 0; k < n; k++) {
        const x = x0 + k * step;
        const j = ((y as usize) * movingWidth + (x as usize)) * 4;
        const u = xx * (x as f64) + xy * (y as f64) + tx;
        const v = yx * (x as f64) + yy * (y as f64) + ty;
        let w = windowX == 0 ? windowRow : windowRow * load<f32>(windowX + 4 * (column + k));
        if (weight != 0) w *= load<f32>(weight + j);
        if (movingCoverage != 0 && !(load<f32>(movingCoverage + j) >= 0.5)) w = 0;
        if (!(u >= 1 && v >= 1 && u <= (width as f64) - 2 && v <= (height as f64) - 2)) w = 0;
        // Within the picture in any case, so that all reads are.
        const ix = w > 0 ? min(u as i32, (width as i32) - 3) : 1;
        const iy = w > 0 ? min(v as i32, (height as i32) - 3) : 1;
        const fx = (u - (ix as f64)) as f32;
        const fy = (v - (iy as f64)) as f32;
        const at = ((iy as usize) * width + (ix as usize)) * 4;
        if (w > 0 && fixedCoverage != 0 && !(between(fixedCoverage + at, width * 4, fx, fy) >= 0.99)) w = 0;
        if (!(w > 0)) {
          zero(scratch + 4 * k, parameters + 4);
          continue;
        }
        used++;
        const f = fourByFour(fixed + at - width * 4 - 4, width * 4, cubicTaps(fx), cubicTaps(fy));
        const gx = between(gradientX + at, width * 4, fx, fy);
        const gy = between(gradientY + at, width * 4, fx, fy);
        let to = scratch + 4 * k;
        store<f32>(to, gx);
        to += LINE;
        store<f32>(to, gy);
        to += LINE;
        const du = ((u - cx) / reach) as f32;
        const dv = ((v - cy) / reach) as f32;
        if (parameters > 2) {
          store<f32>(to, gy * du - gx * dv);
          to += LINE;
        }
        if (parameters > 3) {
          store<f32>(to, gx * du + gy * dv);
          to += LINE;
        }
        if (parameters > 4) {
          store<f32>(to, gy * dv);
          to += LINE;
        }
        store<f32>(to, -load<f32>(moving + j));
        store<f32>(to + LINE, -1);
        store<f32>(to + 2 * LINE, f);
        store<f32>(weights + 4 * k, w);
      }
      column += n;
      if (used == 0) continue;
      count += used;
      for (let k = n; k & 3; k++) zero(scratch + 4 * k, parameters + 4);
      addChunk(scratch, weights, parameters + 3, (n + 3) & ~3, sums);
    }
    row++;
  }
  return count;
}

@inline
function zero(at: usize, lines: i32): void {
  for (let k = 0; k < lines; k++) store<f32>(at + (k as usize) * LINE, 0);
}

/** Linear in both directions. */
@inline
function between(at: usize, stride: usize, fx: f32, fy: f32): f32 {
  const a = load<f32>(at);
  const c = load<f32>(at + stride);
  const upper = a + fx * (load<f32>(at + 4) - a);
  const lower = c + fx * (load<f32>(at + stride + 4) - c);
  return upper + fy * (lower - upper);
}

/** Adds the products of all pairs of terms. */
function addChunk(terms: usize, weights: usize, lines: i32, n: i32, sums: usize): void {
  const bytes = (n as usize) * 4;
  for (let p = 0; p < lines; p++) {
    const a = terms + (p as usize) * LINE;
    for (let q = 0; q <= p; q++) {
      const b = terms + (q as usize) * LINE;
      let s = f32x4.splat(0);
      for (let k: usize = 0; k < bytes; k += 16) {
        s = f32x4.add(s, f32x4.mul(v128.load(weights + k), f32x4.mul(v128.load(a + k), v128.load(b + k))));
      }
      const pairs = f64x2.add(f64x2.promote_low_f32x4(s), f64x2.promote_low_f32x4(v128.shuffle<f64>(s, s, 1, 1)));
      store<f64>(sums, load<f64>(sums) + f64x2.extract_lane(pairs, 0) + f64x2.extract_lane(pairs, 1));
      sums += 8;
    }
  }
}
