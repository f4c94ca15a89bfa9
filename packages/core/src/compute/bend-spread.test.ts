import { describe, expect, it } from 'vitest';
import { addField, bendSpread, covarianceAt, type Residuals } from './bend-spread.js';
import { createRandom } from './random.js';

/** Bends of the given σ, alike over `alikePx` as a Gaussian of that σ, measured with noise on a grid of 30 px. */
function bends(seed: number, rms: number, alikePx: number, noise: number): Residuals {
  const random = createRandom(seed);
  // White noise under a Gaussian of σ alikePx/√2 is alike over a Gaussian of σ alikePx.
  const waves = Array.from({ length: 60 }, () => ({
    kx: random.normal() / alikePx,
    ky: random.normal() / alikePx,
    px: 2 * Math.PI * random.uniform(),
    py: 2 * Math.PI * random.uniform(),
  }));
  const scale = rms * Math.sqrt(2 / waves.length);
  return Array.from({ length: 500 }, (_, i) => {
    const x = 30 * (i % 25);
    const y = 30 * Math.floor(i / 25);
    let [dx, dy] = [noise * random.normal(), noise * random.normal()];
    for (const w of waves) {
      dx += scale * Math.cos(w.kx * x + w.ky * y + w.px);
      dy += scale * Math.cos(w.kx * x + w.ky * y + w.py);
    }
    return { x, y, dx, dy, variance: noise ** 2 };
  });
}

describe('bendSpread', () => {
  it('finds how strong bends are and over what distance they are alike', () => {
    const spread = bendSpread(Array.from({ length: 12 }, (_, k) => bends(k, 0.6, 70, 0.1)));
    expect(Math.sqrt(covarianceAt(spread, 0))).toBeGreaterThan(0.52);
    expect(Math.sqrt(covarianceAt(spread, 0))).toBeLessThan(0.68);
    const half = covarianceAt(spread, (70 * 1.1774) ** 2) / covarianceAt(spread, 0);
    expect(half).toBeGreaterThan(0.38);
    expect(half).toBeLessThan(0.62);
    expect(spread.noiseScale).toBeLessThan(2.5);
  });

  it('takes what is not alike for noise', () => {
    const noisy = Array.from({ length: 12 }, (_, k) => bends(k, 0, 70, 0.3)).map((f) =>
      f.map((p) => ({ ...p, variance: 0.01 })),
    );
    const spread = bendSpread(noisy);
    expect(covarianceAt(spread, 0)).toBeLessThan(0.003);
    // 0.3² over the stated 0.1².
    expect(spread.noiseScale).toBeGreaterThan(8);
  });

  it('says nothing without measurements', () => {
    expect(bendSpread([[], []]).parts).toEqual([]);
  });
});

describe('addField', () => {
  it('adds the covariance with each place, times its weight', () => {
    const spread = {
      parts: [
        { sigmaPx: 40, variance: 2 },
        { sigmaPx: 90, variance: 1 },
      ],
      noiseScale: 1,
    };
    const grid = { x0: -10, y0: 5, stepPx: 20, columns: 7, rows: 5, x: new Float32Array(35), y: new Float32Array(35) };
    const places = [
      { x: 3, y: 40 },
      { x: 70, y: 20 },
    ];
    addField(places, { x: [1, -2], y: [0.5, 0] }, spread, grid);
    const at = (c: number, r: number, k: number): number =>
      covarianceAt(spread, (-10 + 20 * c - places[k]!.x) ** 2 + (5 + 20 * r - places[k]!.y) ** 2);
    expect(grid.x[2 * 7 + 4]).toBeCloseTo(at(4, 2, 0) - 2 * at(4, 2, 1), 5);
    expect(grid.y[2 * 7 + 4]).toBeCloseTo(0.5 * at(4, 2, 0), 5);
  });
});
