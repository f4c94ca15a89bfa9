// Seeded pictures with known poses for the registration benchmark: slopes lit from a low Sun, with craters and albedo,
// built on a grid three times finer than the pictures, blurred by a Gaussian point spread function of FWHM 3 px, then
// sampled at any pose. Nothing in it is periodic.
import { gaussianBlur } from '../packages/core/dist/compute/gaussian.js';
import { createRandom } from '../packages/core/dist/compute/random.js';
import { cubicAt } from '../packages/core/dist/compute/sample.js';

export const FINE = 3;
const PSF_FWHM_PX = 3;

/** A square scene of sidePx picture pixels. `limb` puts black sky beyond a circle. */
export function makeScene(seed, sidePx, { limb } = {}) {
  const random = createRandom(seed);
  const n = sidePx * FINE;
  const height = new Float32Array(n * n);
  for (let cell = 160 * FINE, rise = 17 * FINE; cell >= 2; cell /= 2, rise *= 0.46)
    roughen(height, n, cell, rise, random);
  dig(height, n, random);
  const albedo = new Float32Array(n * n).fill(0.6);
  for (let cell = 120 * FINE, part = 0.16; cell >= 6; cell /= 2, part *= 0.6) roughen(albedo, n, cell, part, random);
  const data = new Float32Array(n * n);
  const sinSun = Math.sin((20 * Math.PI) / 180);
  const cosSun = Math.cos((20 * Math.PI) / 180);
  for (let y = 0; y < n; y++) {
    for (let x = 0; x < n; x++) {
      const i = y * n + x;
      const sx = height[i + (x < n - 1 ? 1 : 0)] - height[i - (x > 0 ? 1 : 0)];
      const sy = height[i + (y < n - 1 ? n : 0)] - height[i - (y > 0 ? n : 0)];
      const steep = Math.sqrt(1 + (sx * sx + sy * sy) / 4);
      const light = Math.max(0, (sinSun + cosSun * (0.42 * sx + 0.14 * sy)) / steep);
      data[i] = albedo[i] * light;
    }
  }
  if (limb) for (let i = 0; i < n * n; i++) if (limb((i % n) / FINE, Math.floor(i / n) / FINE)) data[i] = 0;
  const blurred = gaussianBlur({ width: n, height: n, data }, (PSF_FWHM_PX * FINE) / 2.3548);
  return { sidePx, plane: blurred };
}

/** Adds smooth noise with features of `cell` grid steps. */
function roughen(field, n, cell, amplitude, random) {
  const m = Math.ceil(n / cell) + 5;
  const knots = { width: m, height: m, data: Float32Array.from({ length: m * m }, () => random.normal()) };
  const ox = random.uniform();
  const oy = random.uniform();
  for (let y = 0; y < n; y++) {
    for (let x = 0; x < n; x++)
      field[y * n + x] += amplitude * cubicAt(knots.data, m, m, 1 + ox + x / cell, 1 + oy + y / cell);
  }
}

/** Bowls with rims, many small and few large. */
function dig(height, n, random) {
  const count = Math.round((n / FINE) ** 2 / 420);
  for (let k = 0; k < count; k++) {
    const radius = Math.min(60, 2 / (1 - random.uniform()) ** 0.55) * FINE;
    const cx = random.uniform() * n;
    const cy = random.uniform() * n;
    const depth = 0.28 * radius * (0.5 + 0.5 * random.uniform());
    const reach = 1.8 * radius;
    for (let y = Math.max(0, Math.ceil(cy - reach)); y < Math.min(n, cy + reach); y++) {
      for (let x = Math.max(0, Math.ceil(cx - reach)); x < Math.min(n, cx + reach); x++) {
        const d = Math.hypot(x - cx, y - cy) / radius;
        if (d < 1) height[y * n + x] += depth * (1.3 * d * d - 1);
        else if (d < 1.8) height[y * n + x] += depth * 0.3 * ((1.8 - d) / 0.8) ** 2;
      }
    }
  }
}

/** A picture of `side` px: `toScene` maps its px to scene px. Polynomials through 6 x 6 samples of the fine grid. */
export function view(scene, side, toScene) {
  const data = new Float32Array(side * side);
  const n = scene.plane.width;
  const fine = scene.plane.data;
  const across = new Float64Array(6);
  const down = new Float64Array(6);
  for (let y = 0; y < side; y++) {
    for (let x = 0; x < side; x++) {
      const u = FINE * (toScene.xx * x + toScene.xy * y + toScene.tx);
      const v = FINE * (toScene.yx * x + toScene.yy * y + toScene.ty);
      if (!(u >= 2 && v >= 2 && u < n - 3 && v < n - 3)) throw new RangeError(`(${u}, ${v}) is off the scene`);
      lagrange(u - Math.floor(u), across);
      lagrange(v - Math.floor(v), down);
      let sum = 0;
      for (let j = 0; j < 6; j++) {
        const k = (Math.floor(v) - 2 + j) * n + Math.floor(u) - 2;
        let row = 0;
        for (let i = 0; i < 6; i++) row += across[i] * fine[k + i];
        sum += down[j] * row;
      }
      data[y * side + x] = sum;
    }
  }
  return { width: side, height: side, data };
}

/** Weights of the samples at -2 .. 3 for the value at t. */
function lagrange(t, weights) {
  for (let i = -2; i <= 3; i++) {
    let weight = 1;
    for (let j = -2; j <= 3; j++) if (j !== i) weight *= (t - j) / (i - j);
    weights[i + 2] = weight;
  }
}

export function meanAndContrast({ data }) {
  let sum = 0;
  let square = 0;
  for (const v of data) {
    sum += v;
    square += v * v;
  }
  const mean = sum / data.length;
  return { mean, contrast: Math.sqrt(square / data.length - mean * mean) };
}

/** The picture with white noise of the given sigma added. */
export function withNoise(picture, sigma, random) {
  const data = new Float32Array(picture.data.length);
  for (let i = 0; i < data.length; i++) data[i] = picture.data[i] + sigma * random.normal();
  return { ...picture, data };
}
