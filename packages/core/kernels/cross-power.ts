// The cross spectrum of two real pictures, limited to a band and evened out, for phase correlation. Spectra lie as
// fft-real.ts leaves them.
import { ELEMENT } from './fft-line';

/**
 * Turns spectrum `a` into A·conj(B)·bandX·bandY, then divides it by its size: by √(size + floor·mean) with `whitening` 1,
 * by size + floor·mean with 2, not at all with 0. `bandX` holds a weight for each column of a row, zeros beyond the
 * last; `bandY` one for each row. `columns` is width/2 + 1; the mean is that of the whole, mirrored spectrum. Leaves at
 * `powers` three doubles: the sums over the whole spectrum of |A|², |B|² and |A|²·|B|².
 */
export function crossPower(
  a: usize, b: usize, rowBytes: usize, columns: usize, height: usize, bandX: usize, bandY: usize, whitening: i32,
  floor: f64, powers: usize,
): void {
  let sum: f64 = 0;
  memory.fill(powers, 0, 24);
  for (let y: usize = 0; y < height; y++) {
    const atA = a + y * rowBytes;
    const atB = b + y * rowBytes;
    addPowers(atA, atB, rowBytes, columns, powers);
    sum += crossRow(atA, atB, rowBytes, columns, bandX, load<f32>(bandY + 4 * y));
  }
  if (whitening == 0) return;
  const mean = sum / ((2 * (columns - 1) * height) as f64);
  const add = f32x4.splat(max<f64>(floor * mean, 1e-30) as f32);
  const end = a + rowBytes * height;
  for (; a < end; a += ELEMENT) {
    const re = v128.load(a);
    const im = v128.load(a + 16);
    let size = f32x4.add(f32x4.sqrt(f32x4.add(f32x4.mul(re, re), f32x4.mul(im, im))), add);
    if (whitening == 1) size = f32x4.sqrt(size);
    v128.store(a, f32x4.div(re, size));
    v128.store(a + 16, f32x4.div(im, size));
  }
}

/** Adds the row and its mirrored half to the sums of |A|², |B|² and |A|²·|B|². */
function addPowers(a: usize, b: usize, rowBytes: usize, columns: usize, powers: usize): void {
  let sa = f64x2.splat(0);
  let sb = f64x2.splat(0);
  let sab = f64x2.splat(0);
  for (let k: usize = 0; k < rowBytes; k += ELEMENT) {
    const pa = power(a + k);
    const pb = power(b + k);
    const al = f64x2.promote_low_f32x4(pa);
    const ah = f64x2.promote_low_f32x4(v128.shuffle<f64>(pa, pa, 1, 1));
    const bl = f64x2.promote_low_f32x4(pb);
    const bh = f64x2.promote_low_f32x4(v128.shuffle<f64>(pb, pb, 1, 1));
    sa = f64x2.add(sa, f64x2.add(al, ah));
    sb = f64x2.add(sb, f64x2.add(bl, bh));
    sab = f64x2.add(sab, f64x2.add(f64x2.mul(al, bl), f64x2.mul(ah, bh)));
  }
  const a0 = powerAt(a, 0);
  const b0 = powerAt(b, 0);
  const a1 = powerAt(a, columns - 1);
  const b1 = powerAt(b, columns - 1);
  addDoubled(powers, sa, a0 + a1);
  addDoubled(powers + 8, sb, b0 + b1);
  addDoubled(powers + 16, sab, a0 * b0 + a1 * b1);
}

@inline
function power(at: usize): v128 {
  const re = v128.load(at);
  const im = v128.load(at + 16);
  return f32x4.add(f32x4.mul(re, re), f32x4.mul(im, im));
}

/** Both middle columns have no mirror image. */
@inline
function addDoubled(at: usize, sum: v128, middle: f64): void {
  const all = f64x2.extract_lane(sum, 0) + f64x2.extract_lane(sum, 1);
  store<f64>(at, load<f64>(at) + 2 * all - middle);
}

/** Sum of the sizes over the row and its mirrored half. */
function crossRow(a: usize, b: usize, rowBytes: usize, columns: usize, bandX: usize, bandY: f32): f64 {
  const w = f32x4.splat(bandY);
  const end = a + rowBytes;
  const first = a;
  let sum = f64x2.splat(0);
  for (; a < end; a += ELEMENT) {
    const ar = v128.load(a);
    const ai = v128.load(a + 16);
    const br = v128.load(b);
    const bi = v128.load(b + 16);
    const band = f32x4.mul(v128.load(bandX), w);
    const re = f32x4.mul(band, f32x4.add(f32x4.mul(ar, br), f32x4.mul(ai, bi)));
    const im = f32x4.mul(band, f32x4.sub(f32x4.mul(ai, br), f32x4.mul(ar, bi)));
    v128.store(a, re);
    v128.store(a + 16, im);
    const size = f32x4.sqrt(f32x4.add(f32x4.mul(re, re), f32x4.mul(im, im)));
    sum = f64x2.add(sum, f64x2.promote_low_f32x4(size));
    sum = f64x2.add(sum, f64x2.promote_low_f32x4(v128.shuffle<f64>(size, size, 1, 1)));
    b += ELEMENT;
    bandX += 16;
  }
  const all = f64x2.extract_lane(sum, 0) + f64x2.extract_lane(sum, 1);
  return 2 * all - sqrt(powerAt(first, 0)) - sqrt(powerAt(first, columns - 1));
}

/** Power of the spectrum in one column of a row. */
@inline
function powerAt(row: usize, column: usize): f64 {
  const at = row + (column >> 2) * ELEMENT + (column & 3) * 4;
  const re = load<f32>(at);
  const im = load<f32>(at + 16);
  return (re * re + im * im) as f64;
}
