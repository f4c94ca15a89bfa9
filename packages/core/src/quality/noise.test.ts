import { describe, expect, it } from 'vitest';
import { createSceneField, planeOf, renderFrame } from '../../test/scene-field.js';
import { translation } from '../compute/affine.js';
import { createPlane } from '../compute/image.js';
import { createRandom } from '../compute/random.js';
import { noiseSigma } from './noise.js';

describe('noiseSigma', () => {
  it.each([0.001, 0.01, 0.1])('measures white noise of %d', (sigma) => {
    const random = createRandom(`white ${sigma}`);
    const plane = planeOf(300, 200, () => 0.4 + sigma * random.normal());
    // The median of 59 004 sizes, alike over 9 px: about 1 %.
    expect(Math.abs(noiseSigma(plane) / sigma - 1)).toBeLessThan(0.03);
  });

  it('is blind to planes and to edges along the axes', () => {
    expect(noiseSigma(planeOf(64, 64, (x, y) => x / 64 + y / 32))).toBeLessThan(1e-7);
    expect(noiseSigma(planeOf(64, 64, (x, y) => (x < 30 ? 0.1 : 0.8) + (y < 20 ? 0 : 0.1)))).toBeLessThan(1e-7);
  });

  it('counts terrain little', () => {
    const scene = createSceneField({ seed: 'noise', widthPx: 400, heightPx: 300 });
    const clean = noiseSigma(renderFrame(scene, translation(20, 20), 300, 200));
    const noisy = noiseSigma(renderFrame(scene, translation(20, 20), 300, 200, { noise: 0.01 }));
    // Light of 0.25 with craters down to σ = 1.6 px; measured 0.0016 and 0.0103.
    expect(clean).toBeLessThan(0.003);
    expect(Math.abs(noisy / 0.01 - 1)).toBeLessThan(0.08);
  });

  it('finds half of the noise when half of the picture is black', () => {
    const random = createRandom('half');
    const some = planeOf(200, 200, (x) => (x < 60 ? 0 : 0.3 + 0.02 * random.normal()));
    expect(noiseSigma(some)).toBeGreaterThan(0.005);
    expect(noiseSigma(some)).toBeLessThan(0.02);
  });

  it('does not fail on pictures that are too small', () => {
    expect(noiseSigma(createPlane(2, 50))).toBe(0);
    expect(noiseSigma(createPlane(50, 2))).toBe(0);
    expect(noiseSigma(createPlane(3, 3))).toBe(0);
  });
});
