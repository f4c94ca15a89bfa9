import { createComplexField, fft2 } from '../compute/fft.js';
import type { Plane } from '../compute/image.js';

/**
 * The shift (px) that brings the square, power-of-two plane `moving` onto `fixed`, by the highest point of their
 * circular cross-correlation. The correlation is taken between its samples as the trigonometric polynomial that it is
 * (the limit of the upsampled transform of Guizar-Sicairos et al. 2008, doi:10.1364/OL.33.000156), climbed by Newton steps from
 * the highest sample. Both planes should be windowed and free of a mean.
 */
export function correlationShift(fixed: Plane, moving: Plane): { readonly x: number; readonly y: number } {
  const n = fixed.width;
  const field = createComplexField(n, n);
  field.re.set(fixed.data);
  field.im.set(moving.data);
  fft2(field, 'forward');
  const spectrum = crossSpectrum(field.re, field.im, n);
  field.re.set(spectrum.re);
  field.im.set(spectrum.im);
  fft2(field, 'inverse');
  let peak = 0;
  for (let i = 1; i < n * n; i++) if (field.re[i]! > field.re[peak]!) peak = i;
  const start = { x: signed(peak % n, n), y: signed(Math.floor(peak / n), n) };
  return climb(spectrum, n, start);
}

interface Spectrum {
  readonly re: Float64Array;
  readonly im: Float64Array;
}

/** F·conj(M) from the transform of f + i·m. */
function crossSpectrum(re: Float64Array, im: Float64Array, n: number): Spectrum {
  const out = { re: new Float64Array(n * n), im: new Float64Array(n * n) };
  for (let y = 0; y < n; y++) {
    for (let x = 0; x < n; x++) {
      const k = y * n + x;
      const m = ((n - y) % n) * n + ((n - x) % n);
      const fr = (re[k]! + re[m]!) / 2;
      const fi = (im[k]! - im[m]!) / 2;
      const mr = (im[k]! + im[m]!) / 2;
      const mi = (re[m]! - re[k]!) / 2;
      out.re[k] = fr * mr + fi * mi;
      out.im[k] = fi * mr - fr * mi;
    }
  }
  return out;
}

const NEWTON_STEPS = 6;
const CLOSE_ENOUGH_PX = 1e-4;

function climb(spectrum: Spectrum, n: number, start: { x: number; y: number }): { x: number; y: number } {
  let { x, y } = start;
  for (let step = 0; step < NEWTON_STEPS; step++) {
    const d = derivatives(spectrum, n, x, y);
    const determinant = d.xx * d.yy - d.xy * d.xy;
    if (!(determinant > 0 && d.xx < 0)) break;
    const dx = (d.xy * d.y - d.yy * d.x) / determinant;
    const dy = (d.xy * d.x - d.xx * d.y) / determinant;
    x = Math.max(start.x - 1, Math.min(start.x + 1, x + dx));
    y = Math.max(start.y - 1, Math.min(start.y + 1, y + dy));
    if (Math.hypot(dx, dy) < CLOSE_ENOUGH_PX) break;
  }
  return { x, y };
}

/** First and second derivatives of the correlation at (x, y), up to one common factor. */
function derivatives({ re, im }: Spectrum, n: number, x: number, y: number) {
  const cos = new Float64Array(n);
  const sin = new Float64Array(n);
  for (let k = 0; k < n; k++) {
    const phase = (2 * Math.PI * signed(k, n) * x) / n;
    cos[k] = Math.cos(phase);
    sin[k] = Math.sin(phase);
  }
  const d = { x: 0, y: 0, xx: 0, xy: 0, yy: 0 };
  for (let l = 0; l < n; l++) {
    const v = signed(l, n);
    // Sums over the row of S·e^(iux) times 1, u and u².
    let [r0, i0, r1, i1, r2, i2] = [0, 0, 0, 0, 0, 0];
    for (let k = 0; k < n; k++) {
      const u = signed(k, n);
      const a = re[l * n + k]! * cos[k]! - im[l * n + k]! * sin[k]!;
      const b = re[l * n + k]! * sin[k]! + im[l * n + k]! * cos[k]!;
      r0 += a;
      i0 += b;
      r1 += u * a;
      i1 += u * b;
      r2 += u * u * a;
      i2 += u * u * b;
    }
    const phase = (2 * Math.PI * v * y) / n;
    const c = Math.cos(phase);
    const s = Math.sin(phase);
    const scale = (2 * Math.PI) / n;
    d.x -= scale * (r1 * s + i1 * c);
    d.y -= scale * v * (r0 * s + i0 * c);
    d.xx -= scale * scale * (r2 * c - i2 * s);
    d.xy -= scale * scale * v * (r1 * c - i1 * s);
    d.yy -= scale * scale * v * v * (r0 * c - i0 * s);
  }
  return d;
}

function signed(k: number, n: number): number {
  return k < n / 2 ? k : k - n;
}
