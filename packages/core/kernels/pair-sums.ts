// Sums for one step of Gauss–Newton between two pictures, block by block: the port of registration/pair-normal.ts, where
// the method is told. Light and taps in single precision, positions and sums in double.
import { fourTaps, sixColumns, sixRows, TAP_BYTES, twoTaps } from './taps';
import { integers, warpRow } from './warp-row';

/** Numbers per block. */
const SUMS: usize = 15;
/** Five-point first derivative. */
const C1: f32 = 8.0 / 12.0;
const C2: f32 = 1.0 / 12.0;

/**
 * Adds to `sums`, columns × rows × 15 doubles. `ranges` holds from and to (i32) of each fixed row: the pixels whose six
 * taps each way lie in the moving picture; `variances` of 0 are absent; `taps` is a table of
 * `steps` + 1 entries (taps.ts). `scratch` holds 7 rows of width + 32 floats.
 */
export function pairSums(
  fixed: usize, width: usize, height: usize, fixedVariance: usize,
  moving: usize, movingWidth: usize, movingVariance: usize,
  xx: f64, xy: f64, yx: f64, yy: f64, tx: f64, ty: f64, gain: f64, offset: f64,
  taps: usize, steps: f64, side: usize, columns: usize, ranges: usize, sums: usize, scratch: usize,
): void {
  const rowBytes = (width + 32) * 4;
  const spare = scratch + 5 * rowBytes;
  const weights = spare + rowBytes;
  const weighted = fixedVariance != 0 || movingVariance != 0;
  const shiftOnly = xx == 1 && yy == 1 && xy == 0 && yx == 0;
  for (let y: usize = 0; y < height; y++) {
    const from = load<i32>(ranges + 8 * y);
    const to = load<i32>(ranges + 8 * y + 4);
    const row = scratch + (y % 5) * rowBytes;
    if (to > from) {
      const py = yy * (y as f64) + ty;
      const px = xy * (y as f64) + tx;
      const g = gain as f32;
      const o = offset as f32;
      if (shiftOnly) shiftedRow(moving, movingWidth, taps, steps, px, py, g, o, from, to, row, spare);
      else warpedRow(moving, movingWidth, taps, steps, xx, yx, px, py, g, o, from, to, row, spare);
    }
    if (y < 4) continue;
    const middle = y - 2;
    let x0 = 0;
    let x1 = width as i32;
    for (let k: usize = y - 4; k <= y; k++) {
      x0 = max(x0, load<i32>(ranges + 8 * k));
      x1 = min(x1, load<i32>(ranges + 8 * k + 4));
    }
    x0 += 2;
    x1 -= 2;
    if (x1 <= x0) continue;
    if (weighted) {
      const py = yy * (middle as f64) + ty;
      const px = xy * (middle as f64) + tx;
      let variance = fixedVariance;
      if (variance != 0) variance += middle * width * 4;
      if (shiftOnly) shiftedWeights(variance, movingVariance, movingWidth, px, py, gain as f32, x0, x1, weights);
      else warpedWeights(variance, movingVariance, movingWidth, xx, yx, px, py, gain as f32, x0, x1, weights);
    }
    const base = (middle / side) * columns;
    for (let x = x0; x < x1; ) {
      const column = (x as usize) / side;
      const end = min(x1, ((column + 1) * side) as i32);
      addSegment(
        fixed + middle * width * 4, width * 4, scratch, rowBytes, middle, x as usize, end as usize,
        weighted ? weights : 0, sums + (base + column) * SUMS * 8,
      );
      x = end;
    }
  }
}

/** The moving picture brought onto a row of the fixed one, shifted only: the taps are the same all along. */
function shiftedRow(
  moving: usize, movingWidth: usize, taps: usize, steps: f64, px: f64, py: f64, gain: f32, offset: f32, from: i32,
  to: i32, out: usize, spare: usize,
): void {
  const ix = floor(px);
  const iy = floor(py);
  const ty = (py - iy) * steps;
  const entryY = taps + (ty as usize) * TAP_BYTES;
  const partY = (ty - floor(ty)) as f32;
  // Columns from − 2 … to + 2 of the six rows, weighted.
  const start = moving + (((iy as i32) - 2) * (movingWidth as i32) + (ix as i32) + from - 2) * 4;
  const count = ((to - from + 5) * 4) as usize;
  sixRows(start, movingWidth * 4, fourTaps(entryY, partY), twoTaps(entryY, partY), count, spare);
  const tx = (px - ix) * steps;
  const entryX = taps + (tx as usize) * TAP_BYTES;
  const partX = (tx - floor(tx)) as f32;
  const g = f32x4.splat(gain);
  const x4 = f32x4.mul(g, fourTaps(entryX, partX));
  const x2 = f32x4.mul(g, twoTaps(entryX, partX));
  const o = f32x4.splat(offset);
  const end = out + to * 4;
  for (let at = out + from * 4; at < end; at += 16) {
    v128.store(at, f32x4.add(sixColumns(spare, x4, x2), o));
    spare += 16;
  }
}

/** The moving picture brought onto a row of the fixed one by any affine map. */
function warpedRow(
  moving: usize, movingWidth: usize, taps: usize, steps: f64, xx: f64, yx: f64, px: f64, py: f64, gain: f32,
  offset: f32, from: i32, to: i32, out: usize, scratch: usize,
): void {
  warpRow(moving, 0, 1, movingWidth * 4, taps, steps, true, xx, yx, px, py, 0, from, to, out, 0, scratch);
  const g = f32x4.splat(gain);
  const o = f32x4.splat(offset);
  const end = out + to * 4;
  for (let at = out + from * 4; at < end; at += 16) v128.store(at, f32x4.add(f32x4.mul(g, v128.load(at)), o));
}

/** Weight of each pixel of a row: twice one over the variance of the difference, 1 for variances of 1. */
function warpedWeights(
  fixedVariance: usize, movingVariance: usize, movingWidth: usize, xx: f64, yx: f64, px: f64, py: f64, gain: f32,
  from: i32, to: i32, out: usize,
): void {
  const g2 = f32x4.splat(gain * gain);
  const one = f32x4.splat(1);
  const halves = f64x2.splat(0.5);
  for (let x = from; x < to; x += 4) {
    const a = fixedVariance == 0 ? one : v128.load(fixedVariance + x * 4);
    let b = one;
    if (movingVariance != 0) {
      // Positions past the last one are taken from it: all reads stay within the picture.
      const p = f64x2(x as f64, min(x + 1, to - 1) as f64);
      const q = f64x2(min(x + 2, to - 1) as f64, min(x + 3, to - 1) as f64);
      const startX = f64x2.splat(px);
      const startY = f64x2.splat(py);
      const ix = integers(
        f64x2.floor(f64x2.add(f64x2.add(f64x2.mul(f64x2.splat(xx), p), startX), halves)),
        f64x2.floor(f64x2.add(f64x2.add(f64x2.mul(f64x2.splat(xx), q), startX), halves)),
      );
      const iy = integers(
        f64x2.floor(f64x2.add(f64x2.add(f64x2.mul(f64x2.splat(yx), p), startY), halves)),
        f64x2.floor(f64x2.add(f64x2.add(f64x2.mul(f64x2.splat(yx), q), startY), halves)),
      );
      const at = i32x4.shl(i32x4.add(i32x4.mul(iy, i32x4.splat(movingWidth as i32)), ix), 2);
      b = v128.load32_zero(movingVariance + (i32x4.extract_lane(at, 0) as usize));
      b = v128.load32_lane(movingVariance + (i32x4.extract_lane(at, 1) as usize), b, 1);
      b = v128.load32_lane(movingVariance + (i32x4.extract_lane(at, 2) as usize), b, 2);
      b = v128.load32_lane(movingVariance + (i32x4.extract_lane(at, 3) as usize), b, 3);
    }
    v128.store(out + x * 4, f32x4.div(f32x4.splat(2), f32x4.add(a, f32x4.mul(g2, b))));
  }
}

function shiftedWeights(
  fixedVariance: usize, movingVariance: usize, movingWidth: usize, px: f64, py: f64, gain: f32, from: i32, to: i32,
  out: usize,
): void {
  const g2 = f32x4.splat(gain * gain);
  const one = f32x4.splat(1);
  const shift = (floor(py + 0.5) as i32) * (movingWidth as i32) + (floor(px + 0.5) as i32);
  for (let x = from; x < to; x += 4) {
    const a = fixedVariance == 0 ? one : v128.load(fixedVariance + x * 4);
    const b = movingVariance == 0 ? one : v128.load(movingVariance + (x + shift) * 4);
    v128.store(out + x * 4, f32x4.div(f32x4.splat(2), f32x4.add(a, f32x4.mul(g2, b))));
  }
}

/** Adds four floats to a double. */
@inline
function addTo(at: usize, sum: v128): void {
  const pairs = f64x2.add(f64x2.promote_low_f32x4(sum), f64x2.promote_low_f32x4(v128.shuffle<f64>(sum, sum, 1, 1)));
  store<f64>(at, load<f64>(at) + f64x2.extract_lane(pairs, 0) + f64x2.extract_lane(pairs, 1));
}

/** First `count` lanes set. */
@inline
function lanes(count: usize): v128 {
  return i32x4.lt_s(i32x4(0, 1, 2, 3), i32x4.splat(count as i32));
}

@inline
function slope(at: usize, step: usize): v128 {
  const near = f32x4.sub(v128.load(at + step), v128.load(at - step));
  const far = f32x4.sub(v128.load(at + 2 * step), v128.load(at - 2 * step));
  return f32x4.sub(f32x4.mul(f32x4.splat(C1), near), f32x4.mul(f32x4.splat(C2), far));
}

/** Adds the pixels from … to of a row to the sums of their block. */
function addSegment(
  fixedRow: usize, stride: usize, ring: usize, ringBytes: usize, y: usize, from: usize, to: usize, weights: usize,
  at: usize,
): void {
  const b0 = ring + ((y - 2) % 5) * ringBytes;
  const b1 = ring + ((y - 1) % 5) * ringBytes;
  const b2 = ring + (y % 5) * ringBytes;
  const b3 = ring + ((y + 1) % 5) * ringBytes;
  const b4 = ring + ((y + 2) % 5) * ringBytes;
  const half = f32x4.splat(0.5);
  const c1 = f32x4.splat(C1);
  const c2 = f32x4.splat(C2);
  const one = f32x4.splat(1);
  const none = f32x4.splat(0);
  let sw = none;
  let hxx = none;
  let hxy = none;
  let hyy = none;
  let rgx = none;
  let rgy = none;
  let mgx = none;
  let mgy = none;
  let sgx = none;
  let sgy = none;
  let smm = none;
  let sm = none;
  let srm = none;
  let sr = none;
  let srr = none;
  for (let x = from; x < to; x += 4) {
    const k: usize = x * 4;
    let keep = lanes(to - x);
    const w = v128.and(keep, weights == 0 ? one : v128.load(weights + k));
    // What does not count may be anything, not a number included.
    keep = v128.and(keep, f32x4.gt(w, none));
    const a = v128.and(keep, v128.load(fixedRow + k));
    const b = v128.and(keep, v128.load(b2 + k));
    const ax = v128.and(keep, slope(fixedRow + k, 4));
    const ay = v128.and(keep, slope(fixedRow + k, stride));
    const bx = v128.and(keep, slope(b2 + k, 4));
    const by = v128.and(keep, f32x4.sub(
      f32x4.mul(c1, f32x4.sub(v128.load(b3 + k), v128.load(b1 + k))),
      f32x4.mul(c2, f32x4.sub(v128.load(b4 + k), v128.load(b0 + k))),
    ));
    const dif = f32x4.sub(a, b);
    const r = f32x4.mul(w, dif);
    const m = f32x4.mul(half, f32x4.add(a, b));
    const gx = f32x4.mul(half, f32x4.add(ax, bx));
    const gy = f32x4.mul(half, f32x4.add(ay, by));
    const wm = f32x4.mul(w, m);
    sw = f32x4.add(sw, w);
    hxx = f32x4.add(hxx, f32x4.mul(w, f32x4.mul(ax, bx)));
    hxy = f32x4.add(hxy, f32x4.mul(w, f32x4.add(f32x4.mul(ax, by), f32x4.mul(ay, bx))));
    hyy = f32x4.add(hyy, f32x4.mul(w, f32x4.mul(ay, by)));
    rgx = f32x4.add(rgx, f32x4.mul(r, gx));
    rgy = f32x4.add(rgy, f32x4.mul(r, gy));
    mgx = f32x4.add(mgx, f32x4.mul(wm, gx));
    mgy = f32x4.add(mgy, f32x4.mul(wm, gy));
    sgx = f32x4.add(sgx, f32x4.mul(w, gx));
    sgy = f32x4.add(sgy, f32x4.mul(w, gy));
    smm = f32x4.add(smm, f32x4.mul(wm, m));
    sm = f32x4.add(sm, wm);
    srm = f32x4.add(srm, f32x4.mul(r, m));
    sr = f32x4.add(sr, r);
    srr = f32x4.add(srr, f32x4.mul(r, dif));
  }
  addTo(at, sw);
  addTo(at + 8, hxx);
  addTo(at + 16, f32x4.mul(half, hxy));
  addTo(at + 24, hyy);
  addTo(at + 32, rgx);
  addTo(at + 40, rgy);
  addTo(at + 48, mgx);
  addTo(at + 56, mgy);
  addTo(at + 64, sgx);
  addTo(at + 72, sgy);
  addTo(at + 80, smm);
  addTo(at + 88, sm);
  addTo(at + 96, srm);
  addTo(at + 104, sr);
  addTo(at + 112, srr);
}
