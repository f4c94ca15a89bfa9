// Butterflies of the Fourier transforms. An element is 32 bytes: four real parts, then four imaginary parts, of four
// transforms that run side by side. Decimation in frequency: output p of a butterfly at place j within a block of n
// is multiplied by exp(−2πi·j·p/n). All inputs are read before the first output is written.

/** sin(2π/3). */
const S3: f32 = 0.8660254037844386;
/** cos and sin of 2π/5 and 4π/5. */
const C51: f32 = 0.30901699437494745;
const C52: f32 = -0.8090169943749475;
const S51: f32 = 0.9510565162951535;
const S52: f32 = 0.5877852522924731;
/** √½. */
const R2: f32 = 0.7071067811865476;

@inline
function add(a: v128, b: v128): v128 {
  return f32x4.add(a, b);
}

@inline
function sub(a: v128, b: v128): v128 {
  return f32x4.sub(a, b);
}

@inline
function scaled(a: v128, s: f32): v128 {
  return f32x4.mul(a, f32x4.splat(s));
}

/** Stores (re, im), multiplied by the p-th twiddle of `tw` when there is one. */
@inline
function put(re: v128, im: v128, p: usize, dstRe: usize, dstIm: usize, tw: usize, twiddled: bool): void {
  if (twiddled && p > 0) {
    const wr = v128.load32_splat(tw + (p - 1) * 8);
    const wi = v128.load32_splat(tw + (p - 1) * 8 + 4);
    v128.store(dstRe, sub(f32x4.mul(re, wr), f32x4.mul(im, wi)));
    v128.store(dstIm, add(f32x4.mul(re, wi), f32x4.mul(im, wr)));
  } else {
    v128.store(dstRe, re);
    v128.store(dstIm, im);
  }
}

/**
 * One butterfly. Real and imaginary parts of the inputs lie at `sr`, `si` + q·sStep, the outputs go to `dr`, `di` +
 * p·dStep; `tw` holds the radix − 1 twiddles of this place, unless it is place 0.
 */
@inline
export function butterfly(
  radix: i32, sr: usize, si: usize, sStep: usize, dr: usize, di: usize, dStep: usize, tw: usize, twiddled: bool,
): void {
  if (radix == 2) radix2(sr, si, sStep, dr, di, dStep, tw, twiddled);
  else if (radix == 3) radix3(sr, si, sStep, dr, di, dStep, tw, twiddled);
  else if (radix == 4) radix4(sr, si, sStep, dr, di, dStep, tw, twiddled);
  else if (radix == 5) radix5(sr, si, sStep, dr, di, dStep, tw, twiddled);
  else radix8(sr, si, sStep, dr, di, dStep, tw, twiddled);
}

@inline
function radix2(
  sr: usize, si: usize, sStep: usize, dr: usize, di: usize, dStep: usize, tw: usize, twiddled: bool,
): void {
  const ar = v128.load(sr);
  const ai = v128.load(si);
  const br = v128.load(sr + sStep);
  const bi = v128.load(si + sStep);
  put(add(ar, br), add(ai, bi), 0, dr, di, tw, twiddled);
  put(sub(ar, br), sub(ai, bi), 1, dr + dStep, di + dStep, tw, twiddled);
}

@inline
function radix3(
  sr: usize, si: usize, sStep: usize, dr: usize, di: usize, dStep: usize, tw: usize, twiddled: bool,
): void {
  const ar = v128.load(sr);
  const ai = v128.load(si);
  const br = v128.load(sr + sStep);
  const bi = v128.load(si + sStep);
  const cr = v128.load(sr + 2 * sStep);
  const ci = v128.load(si + 2 * sStep);
  const sumR = add(br, cr);
  const sumI = add(bi, ci);
  const midR = sub(ar, scaled(sumR, 0.5));
  const midI = sub(ai, scaled(sumI, 0.5));
  const difR = scaled(sub(br, cr), S3);
  const difI = scaled(sub(bi, ci), S3);
  put(add(ar, sumR), add(ai, sumI), 0, dr, di, tw, twiddled);
  put(add(midR, difI), sub(midI, difR), 1, dr + dStep, di + dStep, tw, twiddled);
  put(sub(midR, difI), add(midI, difR), 2, dr + 2 * dStep, di + 2 * dStep, tw, twiddled);
}

@inline
function radix4(
  sr: usize, si: usize, sStep: usize, dr: usize, di: usize, dStep: usize, tw: usize, twiddled: bool,
): void {
  const ar = v128.load(sr);
  const ai = v128.load(si);
  const br = v128.load(sr + sStep);
  const bi = v128.load(si + sStep);
  const cr = v128.load(sr + 2 * sStep);
  const ci = v128.load(si + 2 * sStep);
  const er = v128.load(sr + 3 * sStep);
  const ei = v128.load(si + 3 * sStep);
  const acR = add(ar, cr);
  const acI = add(ai, ci);
  const beR = add(br, er);
  const beI = add(bi, ei);
  const amR = sub(ar, cr);
  const amI = sub(ai, ci);
  const bmR = sub(br, er);
  const bmI = sub(bi, ei);
  put(add(acR, beR), add(acI, beI), 0, dr, di, tw, twiddled);
  put(add(amR, bmI), sub(amI, bmR), 1, dr + dStep, di + dStep, tw, twiddled);
  put(sub(acR, beR), sub(acI, beI), 2, dr + 2 * dStep, di + 2 * dStep, tw, twiddled);
  put(sub(amR, bmI), add(amI, bmR), 3, dr + 3 * dStep, di + 3 * dStep, tw, twiddled);
}

@inline
function radix5(
  sr: usize, si: usize, sStep: usize, dr: usize, di: usize, dStep: usize, tw: usize, twiddled: bool,
): void {
  const ar = v128.load(sr);
  const ai = v128.load(si);
  const br = v128.load(sr + sStep);
  const bi = v128.load(si + sStep);
  const cr = v128.load(sr + 2 * sStep);
  const ci = v128.load(si + 2 * sStep);
  const er = v128.load(sr + 3 * sStep);
  const ei = v128.load(si + 3 * sStep);
  const fr = v128.load(sr + 4 * sStep);
  const fi = v128.load(si + 4 * sStep);
  const bfR = add(br, fr);
  const bfI = add(bi, fi);
  const ceR = add(cr, er);
  const ceI = add(ci, ei);
  const bdR = sub(br, fr);
  const bdI = sub(bi, fi);
  const cdR = sub(cr, er);
  const cdI = sub(ci, ei);
  const m1R = add(ar, add(scaled(bfR, C51), scaled(ceR, C52)));
  const m1I = add(ai, add(scaled(bfI, C51), scaled(ceI, C52)));
  const m2R = add(ar, add(scaled(bfR, C52), scaled(ceR, C51)));
  const m2I = add(ai, add(scaled(bfI, C52), scaled(ceI, C51)));
  const n1R = add(scaled(bdR, S51), scaled(cdR, S52));
  const n1I = add(scaled(bdI, S51), scaled(cdI, S52));
  const n2R = sub(scaled(bdR, S52), scaled(cdR, S51));
  const n2I = sub(scaled(bdI, S52), scaled(cdI, S51));
  put(add(ar, add(bfR, ceR)), add(ai, add(bfI, ceI)), 0, dr, di, tw, twiddled);
  put(add(m1R, n1I), sub(m1I, n1R), 1, dr + dStep, di + dStep, tw, twiddled);
  put(add(m2R, n2I), sub(m2I, n2R), 2, dr + 2 * dStep, di + 2 * dStep, tw, twiddled);
  put(sub(m2R, n2I), add(m2I, n2R), 3, dr + 3 * dStep, di + 3 * dStep, tw, twiddled);
  put(sub(m1R, n1I), add(m1I, n1R), 4, dr + 4 * dStep, di + 4 * dStep, tw, twiddled);
}

@inline
function radix8(
  sr: usize, si: usize, sStep: usize, dr: usize, di: usize, dStep: usize, tw: usize, twiddled: bool,
): void {
  const x0r = v128.load(sr);
  const x0i = v128.load(si);
  const x4r = v128.load(sr + 4 * sStep);
  const x4i = v128.load(si + 4 * sStep);
  const x2r = v128.load(sr + 2 * sStep);
  const x2i = v128.load(si + 2 * sStep);
  const x6r = v128.load(sr + 6 * sStep);
  const x6i = v128.load(si + 6 * sStep);
  const a0r = add(x0r, x4r);
  const a0i = add(x0i, x4i);
  const a4r = sub(x0r, x4r);
  const a4i = sub(x0i, x4i);
  const a2r = add(x2r, x6r);
  const a2i = add(x2i, x6i);
  const a6r = sub(x2r, x6r);
  const a6i = sub(x2i, x6i);
  // Even inputs: their transform of length 4.
  const e0r = add(a0r, a2r);
  const e0i = add(a0i, a2i);
  const e2r = sub(a0r, a2r);
  const e2i = sub(a0i, a2i);
  const e1r = add(a4r, a6i);
  const e1i = sub(a4i, a6r);
  const e3r = sub(a4r, a6i);
  const e3i = add(a4i, a6r);
  const x1r = v128.load(sr + sStep);
  const x1i = v128.load(si + sStep);
  const x5r = v128.load(sr + 5 * sStep);
  const x5i = v128.load(si + 5 * sStep);
  const x3r = v128.load(sr + 3 * sStep);
  const x3i = v128.load(si + 3 * sStep);
  const x7r = v128.load(sr + 7 * sStep);
  const x7i = v128.load(si + 7 * sStep);
  const b0r = add(x1r, x5r);
  const b0i = add(x1i, x5i);
  const b4r = sub(x1r, x5r);
  const b4i = sub(x1i, x5i);
  const b2r = add(x3r, x7r);
  const b2i = add(x3i, x7i);
  const b6r = sub(x3r, x7r);
  const b6i = sub(x3i, x7i);
  const o0r = add(b0r, b2r);
  const o0i = add(b0i, b2i);
  const o2r = sub(b0r, b2r);
  const o2i = sub(b0i, b2i);
  const f1r = add(b4r, b6i);
  const f1i = sub(b4i, b6r);
  const f3r = sub(b4r, b6i);
  const f3i = add(b4i, b6r);
  // Odd ones, turned by 45 and 135 degrees.
  const o1r = scaled(add(f1r, f1i), R2);
  const o1i = scaled(sub(f1i, f1r), R2);
  const o3r = scaled(sub(f3i, f3r), R2);
  const o3i = scaled(add(f3r, f3i), -R2);
  put(add(e0r, o0r), add(e0i, o0i), 0, dr, di, tw, twiddled);
  put(sub(e0r, o0r), sub(e0i, o0i), 4, dr + 4 * dStep, di + 4 * dStep, tw, twiddled);
  put(add(e2r, o2i), sub(e2i, o2r), 2, dr + 2 * dStep, di + 2 * dStep, tw, twiddled);
  put(sub(e2r, o2i), add(e2i, o2r), 6, dr + 6 * dStep, di + 6 * dStep, tw, twiddled);
  put(add(e1r, o1r), add(e1i, o1i), 1, dr + dStep, di + dStep, tw, twiddled);
  put(sub(e1r, o1r), sub(e1i, o1i), 5, dr + 5 * dStep, di + 5 * dStep, tw, twiddled);
  put(add(e3r, o3r), add(e3i, o3i), 3, dr + 3 * dStep, di + 3 * dStep, tw, twiddled);
  put(sub(e3r, o3r), sub(e3i, o3i), 7, dr + 7 * dStep, di + 7 * dStep, tw, twiddled);
}
