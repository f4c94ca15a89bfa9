import type { Scene } from './scene.js';

/** A part of the scene in memory of its own; `left`, `top` are the truth px of its first sample, which may lie outside. */
export interface Window {
  readonly left: number;
  readonly top: number;
  readonly width: number;
  readonly height: number;
  readonly data: Float32Array;
}

/** Cuts a window out of the scene, black outside it, blurred by a Gaussian of `sigmaPx` truth px (0 leaves it as it is). */
export function cutBlurred(scene: Scene, bounds: Omit<Window, 'data'>, sigmaPx: number): Window {
  // Only the scene's own rows and columns hold light: keep the window to them and to what the blur spreads.
  const reach = Math.ceil(3.5 * sigmaPx);
  const left = Math.max(bounds.left, -reach - 1);
  const top = Math.max(bounds.top, -reach - 1);
  const width = Math.max(0, Math.min(bounds.left + bounds.width, scene.width + reach + 1) - left);
  const height = Math.max(0, Math.min(bounds.top + bounds.height, scene.height + reach + 1) - top);
  const data = new Float32Array(width * height);
  if (width === 0 || height === 0) return { left, top, width, height, data };
  const kernel = gaussian(sigmaPx, reach);
  const across = new Float32Array(width);
  for (let y = -reach; y < height + reach; y++) {
    const source = top + y;
    if (source < 0 || source >= scene.height) continue;
    blurRow(scene.light.subarray(source * scene.width, (source + 1) * scene.width), left, kernel, reach, across);
    const from = Math.max(0, y - reach);
    const to = Math.min(height - 1, y + reach);
    for (let row = from; row <= to; row++) {
      const weight = kernel[row - y + reach]!;
      const start = row * width;
      for (let x = 0; x < width; x++) data[start + x]! += weight * across[x]!;
    }
  }
  return { left, top, width, height, data };
}

/** Cubic convolution (Keys 1981, doi 10.1109/TASSP.1981.1163711, a = -1/2), not below 0; 0 outside the window. */
export function sampleCubic(window: Window, x: number, y: number): number {
  const { width, height, data } = window;
  const column = Math.floor(x);
  const row = Math.floor(y);
  const c = column - window.left - 1;
  const r = row - window.top - 1;
  if (c < 0 || r < 0 || c + 3 >= width || r + 3 >= height) return 0;
  const t = x - column;
  const w0 = ((2 - t) * t - 1) * t * 0.5;
  const w1 = ((3 * t - 5) * t * t + 2) * 0.5;
  const w2 = ((4 - 3 * t) * t + 1) * t * 0.5;
  const w3 = (t - 1) * t * t * 0.5;
  const s = y - row;
  let i = r * width + c;
  const a = w0 * data[i]! + w1 * data[i + 1]! + w2 * data[i + 2]! + w3 * data[i + 3]!;
  i += width;
  const b = w0 * data[i]! + w1 * data[i + 1]! + w2 * data[i + 2]! + w3 * data[i + 3]!;
  i += width;
  const d = w0 * data[i]! + w1 * data[i + 1]! + w2 * data[i + 2]! + w3 * data[i + 3]!;
  i += width;
  const e = w0 * data[i]! + w1 * data[i + 1]! + w2 * data[i + 2]! + w3 * data[i + 3]!;
  const v0 = ((2 - s) * s - 1) * s * 0.5;
  const v1 = ((3 * s - 5) * s * s + 2) * 0.5;
  const v2 = ((4 - 3 * s) * s + 1) * s * 0.5;
  const v3 = (s - 1) * s * s * 0.5;
  return Math.max(0, v0 * a + v1 * b + v2 * d + v3 * e);
}

function blurRow(source: Float32Array, left: number, kernel: Float64Array, reach: number, out: Float32Array): void {
  for (let x = 0; x < out.length; x++) {
    const from = Math.max(-reach, -(left + x));
    const to = Math.min(reach, source.length - 1 - left - x);
    let sum = 0;
    for (let k = from; k <= to; k++) sum += kernel[k + reach]! * source[left + x + k]!;
    out[x] = sum;
  }
}

function gaussian(sigma: number, reach: number): Float64Array {
  const kernel = Float64Array.from({ length: 2 * reach + 1 }, (_, k) =>
    reach === 0 ? 1 : Math.exp(-((k - reach) ** 2) / (2 * sigma * sigma)),
  );
  const sum = kernel.reduce((a, b) => a + b, 0);
  return kernel.map((v) => v / sum);
}
