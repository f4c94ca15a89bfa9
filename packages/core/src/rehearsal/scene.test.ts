import { describe, expect, it } from 'vitest';
import { createRandom } from '../compute/random.js';
import { drawScene, LIT_LEVEL, type Scene } from './scene.js';

const half = drawScene({ diameterPx: 420, phaseAngleDeg: 80, brightLimbDeg: 0 }, createRandom(21));
const full = drawScene({ diameterPx: 420, phaseAngleDeg: 4, brightLimbDeg: 0 }, createRandom(21));

describe('drawScene', () => {
  it('brings the 99.7th percentile of the lit ground to 1', () => {
    for (const scene of [half, full]) {
      const lit = Array.from(scene.light)
        .filter((v) => v > LIT_LEVEL)
        .sort((a, b) => a - b);
      // The bins are 1/4096 of the brightest pixel.
      expect(Math.abs(lit[Math.floor(0.997 * lit.length)]! - 1)).toBeLessThan(0.005);
    }
  });

  it('fills the disc at full and is black beyond it', () => {
    const { disc } = full;
    eachPixel(full, (value, x, y) => {
      const r = Math.hypot(x - disc.centreX, y - disc.centreY);
      // Mountains of up to 9 km and the soft edge.
      if (r > disc.radiusPx * 1.006 + 3) expect(value).toBe(0);
      if (r < disc.radiusPx * 0.9) expect(value).toBeGreaterThan(0.1);
    });
    expect(full.lit.right - full.lit.left).toBeGreaterThan(2 * disc.radiusPx - 4);
  });

  it('has its terminator where the Sun stands on the horizon', () => {
    const { disc, sun } = half;
    let beyond = 0;
    let within = 0;
    let dark = 0;
    eachPixel(half, (value, x, y) => {
      const u = (x - disc.centreX) / disc.radiusPx;
      const v = (y - disc.centreY) / disc.radiusPx;
      const r2 = u * u + v * v;
      if (r2 > 0.95) return;
      const sine = u * sun[0] + v * sun[1] + Math.sqrt(1 - r2) * sun[2];
      if (sine < -0.1 && value > 0) beyond++;
      if (sine > 0.12) {
        within++;
        if (value < LIT_LEVEL) dark++;
      }
    });
    // Seven degrees beyond the terminator no lunar mountain catches light; as far within, shadows are rare.
    expect(beyond).toBe(0);
    expect(within).toBeGreaterThan(30000);
    expect(dark / within).toBeLessThan(0.02);
  });

  it('has maria on a believable share of the full disc', () => {
    let sum = 0;
    let below = 0;
    const values: number[] = [];
    eachPixel(full, (value, x, y) => {
      if (Math.hypot(x - full.disc.centreX, y - full.disc.centreY) < 0.93 * full.disc.radiusPx) values.push(value);
    });
    values.sort((a, b) => a - b);
    const high = values[Math.floor(0.9 * values.length)]!;
    for (const value of values) {
      sum++;
      if (value < 0.68 * high) below++;
    }
    expect(below / sum).toBeGreaterThan(0.06);
    expect(below / sum).toBeLessThan(0.6);
  });
});

function eachPixel(scene: Scene, visit: (value: number, x: number, y: number) => void): void {
  for (let y = 0; y < scene.height; y++) {
    for (let x = 0; x < scene.width; x++) visit(scene.light[y * scene.width + x]!, x, y);
  }
}
