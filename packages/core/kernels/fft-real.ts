// Two-dimensional transforms of real pictures. Rows of a length W = 2M are taken as M complex numbers and untangled
// afterwards (Cooley, Lewis & Welch 1970). The spectrum holds the columns 0 … M, in groups of four: row y of group g
// lies at y·rowBytes + 32·g, four real parts, then four imaginary parts; columns beyond M are zero.
import { ELEMENT, transformLines } from './fft-line';
import { highHalves, highPairs, lowHalves, lowPairs } from './shuffles';

/** Neighbouring groups of columns that are transformed together: four fill two cache lines. */
const COLUMN_GROUPS: usize = 4;

/** Transposes the 4 × 4 block whose rows are given into d, d + step, d + 2·step, d + 3·step. */
@inline
function transpose(a: v128, b: v128, c: v128, e: v128, d: usize, step: usize): void {
  const ac0 = lowPairs(a, b);
  const ac1 = highPairs(a, b);
  const be0 = lowPairs(c, e);
  const be1 = highPairs(c, e);
  v128.store(d, lowHalves(ac0, be0));
  v128.store(d + step, highHalves(ac0, be0));
  v128.store(d + 2 * step, lowHalves(ac1, be1));
  v128.store(d + 3 * step, highHalves(ac1, be1));
}

/** Bytes of a row of the spectrum of a picture of this width. */
@inline
function spectrumRowBytes(width: usize): usize {
  return ((width / 2 + 4) / 4) * ELEMENT;
}

/**
 * Spectrum of the picture `src`, srcWidth × srcHeight, padded with zeros to width × height. `scratch` holds
 * 32·max(width + 16, 4·height) bytes; `turns` holds cos and sin of −2π·k/width for k = 0 … width/4.
 */
export function fftForward(
  src: usize, srcWidth: usize, srcHeight: usize, width: usize, height: usize,
  rowPlan: usize, columnPlan: usize, turns: usize, spectrum: usize, scratch: usize,
): void {
  const rowBytes = spectrumRowBytes(width);
  const half = width / 2;
  const lines = scratch + width * 16;
  for (let y: usize = 0; y < srcHeight; y += 4) {
    const rows = min<usize>(4, srcHeight - y);
    gatherRows(src + y * srcWidth * 4, srcWidth, rows, width, scratch);
    transformLines(rowPlan, scratch, ELEMENT, lines, ELEMENT, 1, scratch, false);
    untangle(lines, half, turns);
    scatterGroups(lines, half, spectrum + y * rowBytes, rowBytes, rows);
  }
  if (srcHeight < height) memory.fill(spectrum + srcHeight * rowBytes, 0, (height - srcHeight) * rowBytes);
  transformColumns(columnPlan, spectrum, rowBytes, scratch, false);
}

/** The picture whose spectrum is given, which is overwritten. Same plans and scratch as {@link fftForward}. */
export function fftInverse(
  spectrum: usize, width: usize, height: usize, rowPlan: usize, columnPlan: usize, turns: usize,
  dst: usize, scratch: usize,
): void {
  const rowBytes = spectrumRowBytes(width);
  const half = width / 2;
  const lines = scratch + (half + 4) * ELEMENT;
  transformColumns(columnPlan, spectrum, rowBytes, scratch, true);
  const scale = (0.5 / ((half as f64) * (height as f64))) as f32;
  for (let y: usize = 0; y < height; y += 4) {
    const rows = min<usize>(4, height - y);
    gatherGroups(spectrum + y * rowBytes, rowBytes, rows, half, scratch);
    retangle(scratch, half, turns, scale);
    transformLines(rowPlan, scratch, ELEMENT, lines, ELEMENT, 1, scratch, true);
    scatterRows(lines, width, rows, dst + y * width * 4);
  }
}

function transformColumns(plan: usize, spectrum: usize, rowBytes: usize, scratch: usize, inverse: bool): void {
  for (let at: usize = 0; at < rowBytes; at += COLUMN_GROUPS * ELEMENT) {
    const groups = min<usize>(COLUMN_GROUPS, (rowBytes - at) / ELEMENT);
    transformLines(plan, spectrum + at, rowBytes, spectrum + at, rowBytes, groups, scratch, inverse);
  }
}

/** Four rows side by side; what lacks is zero. */
function gatherRows(src: usize, srcWidth: usize, rows: usize, width: usize, dst: usize): void {
  const stride = srcWidth * 4;
  const b = rows > 1 ? stride : 0;
  const c = rows > 2 ? stride + stride : 0;
  const e = rows > 3 ? stride + stride + stride : 0;
  let x: usize = 0;
  for (; x + 4 <= srcWidth; x += 4) {
    const p = src + x * 4;
    transpose(v128.load(p), v128.load(p + b), v128.load(p + c), v128.load(p + e), dst + x * 16, 16);
  }
  for (; x < srcWidth; x++) {
    const p = src + x * 4;
    store<f32>(dst + x * 16, load<f32>(p));
    store<f32>(dst + x * 16 + 4, load<f32>(p + b));
    store<f32>(dst + x * 16 + 8, load<f32>(p + c));
    store<f32>(dst + x * 16 + 12, load<f32>(p + e));
  }
  if (x < width) memory.fill(dst + x * 16, 0, (width - x) * 16);
}

function scatterRows(src: usize, width: usize, rows: usize, dst: usize): void {
  const stride = width * 4;
  let x: usize = 0;
  if (rows == 4) {
    for (; x + 4 <= width; x += 4) {
      const p = src + x * 16;
      transpose(v128.load(p), v128.load(p + 16), v128.load(p + 32), v128.load(p + 48), dst + x * 4, stride);
    }
  }
  for (; x < width; x++) {
    for (let k: usize = 0; k < rows; k++) store<f32>(dst + k * stride + x * 4, load<f32>(src + x * 16 + k * 4));
  }
}

/** Turns the transform of even + i·odd samples, M elements, into that of the row, M + 1 elements and zeros. */
function untangle(lines: usize, half: usize, turns: usize): void {
  const re = v128.load(lines);
  const im = v128.load(lines + 16);
  const zero = f32x4.splat(0);
  const end = lines + half * ELEMENT;
  v128.store(lines, f32x4.add(re, im));
  v128.store(lines + 16, zero);
  v128.store(end, f32x4.sub(re, im));
  v128.store(end + 16, zero);
  memory.fill(end + ELEMENT, 0, 3 * ELEMENT);
  const h = f32x4.splat(0.5);
  for (let p = lines + ELEMENT, q = end - ELEMENT; p <= q; p += ELEMENT, q -= ELEMENT) {
    turns += 8;
    const pr = f32x4.mul(v128.load(p), h);
    const pi = f32x4.mul(v128.load(p + 16), h);
    const qr = f32x4.mul(v128.load(q), h);
    const qi = f32x4.mul(v128.load(q + 16), h);
    const evenR = f32x4.add(pr, qr);
    const evenI = f32x4.sub(pi, qi);
    // −i times half the difference, then turned.
    const oddR = f32x4.add(pi, qi);
    const oddI = f32x4.sub(qr, pr);
    const wr = v128.load32_splat(turns);
    const wi = v128.load32_splat(turns + 4);
    const tr = f32x4.sub(f32x4.mul(oddR, wr), f32x4.mul(oddI, wi));
    const ti = f32x4.add(f32x4.mul(oddR, wi), f32x4.mul(oddI, wr));
    v128.store(q, f32x4.sub(evenR, tr));
    v128.store(q + 16, f32x4.sub(ti, evenI));
    v128.store(p, f32x4.add(evenR, tr));
    v128.store(p + 16, f32x4.add(evenI, ti));
  }
}

/** Undoes {@link untangle}, times 2·scale. */
function retangle(lines: usize, half: usize, turns: usize, scale: f32): void {
  const s = f32x4.splat(scale);
  const end = lines + half * ELEMENT;
  const first = f32x4.mul(v128.load(lines), s);
  const last = f32x4.mul(v128.load(end), s);
  v128.store(lines, f32x4.add(first, last));
  v128.store(lines + 16, f32x4.sub(first, last));
  for (let p = lines + ELEMENT, q = end - ELEMENT; p <= q; p += ELEMENT, q -= ELEMENT) {
    turns += 8;
    const pr = f32x4.mul(v128.load(p), s);
    const pi = f32x4.mul(v128.load(p + 16), s);
    const qr = f32x4.mul(v128.load(q), s);
    const qi = f32x4.mul(v128.load(q + 16), s);
    const evenR = f32x4.add(pr, qr);
    const evenI = f32x4.sub(pi, qi);
    const difR = f32x4.sub(pr, qr);
    const difI = f32x4.add(pi, qi);
    // i times the difference turned back.
    const wr = v128.load32_splat(turns);
    const wi = v128.load32_splat(turns + 4);
    const tr = f32x4.sub(f32x4.mul(difR, wi), f32x4.mul(difI, wr));
    const ti = f32x4.add(f32x4.mul(difR, wr), f32x4.mul(difI, wi));
    v128.store(q, f32x4.sub(evenR, tr));
    v128.store(q + 16, f32x4.sub(ti, evenI));
    v128.store(p, f32x4.add(evenR, tr));
    v128.store(p + 16, f32x4.add(evenI, ti));
  }
}

/** Spreads M + 1 elements of four rows over the spectrum's rows. */
function scatterGroups(lines: usize, half: usize, dst: usize, rowBytes: usize, rows: usize): void {
  const end = lines + (half + 1) * ELEMENT;
  for (; lines < end; lines += 4 * ELEMENT) {
    if (rows == 4) {
      transpose(v128.load(lines), v128.load(lines + 32), v128.load(lines + 64), v128.load(lines + 96), dst, rowBytes);
      transpose(
        v128.load(lines + 16), v128.load(lines + 48), v128.load(lines + 80), v128.load(lines + 112), dst + 16, rowBytes,
      );
    } else {
      for (let k: usize = 0; k < rows; k++) {
        for (let j: usize = 0; j < 4; j++) {
          store<f32>(dst + k * rowBytes + 4 * j, load<f32>(lines + j * ELEMENT + 4 * k));
          store<f32>(dst + k * rowBytes + 16 + 4 * j, load<f32>(lines + j * ELEMENT + 16 + 4 * k));
        }
      }
    }
    dst += ELEMENT;
  }
}

/** Undoes {@link scatterGroups}; rows that lack repeat the first. */
function gatherGroups(src: usize, rowBytes: usize, rows: usize, half: usize, lines: usize): void {
  const b = rows > 1 ? rowBytes : 0;
  const c = rows > 2 ? rowBytes + rowBytes : 0;
  const e = rows > 3 ? rowBytes + rowBytes + rowBytes : 0;
  const end = lines + (half + 1) * ELEMENT;
  for (; lines < end; lines += 4 * ELEMENT) {
    transpose(v128.load(src), v128.load(src + b), v128.load(src + c), v128.load(src + e), lines, ELEMENT);
    transpose(
      v128.load(src + 16), v128.load(src + b + 16), v128.load(src + c + 16), v128.load(src + e + 16),
      lines + 16, ELEMENT,
    );
    src += ELEMENT;
  }
}
