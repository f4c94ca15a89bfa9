// Rows of a picture brought through an affine map by six taps each way. Up to four neighbours whose whole parts run on by
// one within one row share their loads. What a pixel gets does not depend on the neighbours that it is taken with.
import { fourTaps } from './taps';
import { highHalves, highPairs, lowHalves, lowPairs } from './shuffles';

/** 1.5·2⁵²: added to a whole number, its low bits are that number. */
const MAGIC: f64 = 6755399441055744.0;

/** Four whole numbers of at most 31 bits, in two halves, as integers. */
@inline
export function integers(a: v128, b: v128): v128 {
  const magic = f64x2.splat(MAGIC);
  return v128.shuffle<i32>(f64x2.add(a, magic), f64x2.add(b, magic), 0, 2, 4, 6);
}

/** Four doubles, in two halves, as floats. */
@inline
export function floats(a: v128, b: v128): v128 {
  return lowHalves(f32x4.demote_f64x2_zero(a), f32x4.demote_f64x2_zero(b));
}

/** Room for four positions: whole parts x and y, and entries and parts of both. */
const IX: usize = 0;
const IY: usize = 16;
const ENTRY_X: usize = 32;
const ENTRY_Y: usize = 48;
const PART_X: usize = 64;
const PART_Y: usize = 80;
/** From here on four values for each channel, when not all of them are wanted. */
const VALUES: usize = 96;

/**
 * Values at (xx·(x0 + k) + px, yx·(x0 + k) + py) for k = from … to − 1, stored at out + 4·k, for `channels` planes that lie
 * planeBytes apart; their rows go outBytes apart. All taps must exist; reads go up to 12 bytes further. With `isLinear`
 * weights between the entries of the table are on straight lines, else those of the nearest entry. `scratch` holds 96
 * bytes and 16 for each channel.
 */
export function warpRow(
  src: usize, planeBytes: usize, channels: usize, stride: usize, taps: usize, steps: f64, isLinear: bool,
  xx: f64, yx: f64, px: f64, py: f64, x0: f64, from: i32, to: i32, out: usize, outBytes: usize, scratch: usize,
): void {
  for (let k = from; k < to; ) {
    const x = x0 + (k as f64);
    place(xx, px, x, taps, steps, isLinear, scratch, IX, ENTRY_X, PART_X);
    place(yx, py, x, taps, steps, isLinear, scratch, IY, ENTRY_Y, PART_Y);
    const count = min(runLength(scratch), to - k);
    const isWhole = count == 4;
    const to4 = isWhole ? out + k * 4 : scratch + VALUES;
    four(src, planeBytes, channels, stride, isLinear, scratch, to4, isWhole ? outBytes : 16);
    for (let c: usize = 0; !isWhole && c < channels; c++) {
      for (let i = 0; i < count; i++) {
        store<f32>(out + c * outBytes + (k + i) * 4, load<f32>(scratch + VALUES + c * 16 + i * 4));
      }
    }
    k += count;
  }
}

/** Whole parts, entries and parts of the four positions slope·(x + 0 … 3) + start. */
@inline
function place(
  slope: f64, start: f64, x: f64, taps: usize, steps: f64, isLinear: bool, at: usize, whole: usize, entry: usize,
  part: usize,
): void {
  const m = f64x2.splat(slope);
  const s = f64x2.splat(start);
  const n = f64x2.splat(steps);
  const p = f64x2.add(f64x2.mul(m, f64x2.add(f64x2.splat(x), f64x2(0, 1))), s);
  const q = f64x2.add(f64x2.mul(m, f64x2.add(f64x2.splat(x), f64x2(2, 3))), s);
  const wp = f64x2.floor(p);
  const wq = f64x2.floor(q);
  const tp = f64x2.mul(f64x2.sub(p, wp), n);
  const tq = f64x2.mul(f64x2.sub(q, wq), n);
  const half = f64x2.splat(isLinear ? 0 : 0.5);
  const ep = f64x2.floor(f64x2.add(tp, half));
  const eq = f64x2.floor(f64x2.add(tq, half));
  v128.store(at + whole, integers(wp, wq));
  v128.store(at + entry, i32x4.add(i32x4.splat(taps as i32), i32x4.shl(integers(ep, eq), 5)));
  if (isLinear) v128.store(at + part, floats(f64x2.sub(tp, ep), f64x2.sub(tq, eq)));
}

/** How many of the four positions, from the first on, lie in one row of pixels, one column further each. */
@inline
function runLength(at: usize): i32 {
  const x = v128.load(at + IX);
  const y = v128.load(at + IY);
  const runX = i32x4.eq(x, i32x4.add(i32x4.splat(load<i32>(at + IX)), i32x4(0, 1, 2, 3)));
  const runY = i32x4.eq(y, i32x4.splat(load<i32>(at + IY)));
  return ctz(~i32x4.bitmask(v128.and(runX, runY)));
}

@inline
function weights(at: usize, which: usize, part: usize, isLinear: bool): v128 {
  const entry = load<usize>(at) + which;
  return isLinear ? fourTaps(entry, load<f32>(at + part)) : v128.load(entry);
}

@inline
function firstTap(src: usize, stride: usize, at: usize): usize {
  return src + ((load<i32>(at + IY) - 2) as usize) * stride + (load<i32>(at + IX) - 2) * 4;
}

@inline
function column(p: usize, stride: usize, a: v128, b: v128, c: v128, d: v128, e: v128, f: v128): v128 {
  const p3 = p + 3 * stride;
  let v = f32x4.add(f32x4.mul(a, v128.load(p)), f32x4.mul(b, v128.load(p + stride)));
  v = f32x4.add(v, f32x4.mul(c, v128.load(p + 2 * stride)));
  v = f32x4.add(v, f32x4.mul(d, v128.load(p3)));
  v = f32x4.add(v, f32x4.mul(e, v128.load(p3 + stride)));
  return f32x4.add(v, f32x4.mul(f, v128.load(p3 + 2 * stride)));
}

@inline
function four(
  src: usize, planeBytes: usize, channels: usize, stride: usize, isLinear: bool, at: usize, out: usize,
  outBytes: usize,
): void {
  // Taps by position, turned into positions by tap.
  let q0 = weights(at + ENTRY_Y, 0, 32, isLinear);
  let q1 = weights(at + ENTRY_Y + 4, 0, 32, isLinear);
  let q2 = weights(at + ENTRY_Y + 8, 0, 32, isLinear);
  let q3 = weights(at + ENTRY_Y + 12, 0, 32, isLinear);
  let l = lowPairs(q0, q1);
  let m = lowPairs(q2, q3);
  const ya = lowHalves(l, m);
  const yb = highHalves(l, m);
  l = highPairs(q0, q1);
  m = highPairs(q2, q3);
  const yc = lowHalves(l, m);
  const yd = highHalves(l, m);
  q0 = weights(at + ENTRY_Y, 16, 32, isLinear);
  q1 = weights(at + ENTRY_Y + 4, 16, 32, isLinear);
  q2 = weights(at + ENTRY_Y + 8, 16, 32, isLinear);
  q3 = weights(at + ENTRY_Y + 12, 16, 32, isLinear);
  l = lowPairs(q0, q1);
  m = lowPairs(q2, q3);
  const ye = lowHalves(l, m);
  const yf = highHalves(l, m);
  q0 = weights(at + ENTRY_X, 0, 32, isLinear);
  q1 = weights(at + ENTRY_X + 4, 0, 32, isLinear);
  q2 = weights(at + ENTRY_X + 8, 0, 32, isLinear);
  q3 = weights(at + ENTRY_X + 12, 0, 32, isLinear);
  l = lowPairs(q0, q1);
  m = lowPairs(q2, q3);
  const xa = lowHalves(l, m);
  const xb = highHalves(l, m);
  l = highPairs(q0, q1);
  m = highPairs(q2, q3);
  const xc = lowHalves(l, m);
  const xd = highHalves(l, m);
  q0 = weights(at + ENTRY_X, 16, 32, isLinear);
  q1 = weights(at + ENTRY_X + 4, 16, 32, isLinear);
  q2 = weights(at + ENTRY_X + 8, 16, 32, isLinear);
  q3 = weights(at + ENTRY_X + 12, 16, 32, isLinear);
  l = lowPairs(q0, q1);
  m = lowPairs(q2, q3);
  const xe = lowHalves(l, m);
  const xf = highHalves(l, m);
  let p = firstTap(src, stride, at);
  for (let c: usize = 0; c < channels; c++) {
    let v = f32x4.mul(xa, column(p, stride, ya, yb, yc, yd, ye, yf));
    v = f32x4.add(v, f32x4.mul(xb, column(p + 4, stride, ya, yb, yc, yd, ye, yf)));
    v = f32x4.add(v, f32x4.mul(xc, column(p + 8, stride, ya, yb, yc, yd, ye, yf)));
    v = f32x4.add(v, f32x4.mul(xd, column(p + 12, stride, ya, yb, yc, yd, ye, yf)));
    v = f32x4.add(v, f32x4.mul(xe, column(p + 16, stride, ya, yb, yc, yd, ye, yf)));
    v = f32x4.add(v, f32x4.mul(xf, column(p + 20, stride, ya, yb, yc, yd, ye, yf)));
    v128.store(out, v);
    p += planeBytes;
    out += outBytes;
  }
}
