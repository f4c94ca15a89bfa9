import { describe, expect, it } from 'vitest';
import { createSceneField, renderFrame } from '../../test/scene-field.js';
import { translation } from '../compute/affine.js';
import { createPlane } from '../compute/image.js';
import { createRandom } from '../compute/random.js';
import { coarseLight, findDoubled, findEmpty, gainsOnGround } from './track-model-faults.js';

const scene = createSceneField({ seed: 'faults', widthPx: 400, heightPx: 160 });
const pose = (k: number) => translation(20 + 12 * k, 20);
const shot = (k: number, gain = 1, offset = 0) =>
  renderFrame(scene, pose(k), 160, 120, { gain, offset, noise: 0.004, seed: `shot ${k}` });

function sky(level: number, noise: number) {
  const random = createRandom(`sky ${level}`);
  const plane = createPlane(160, 120);
  plane.data.forEach((_, i) => {
    plane.data[i] = level + noise * random.normal();
  });
  return plane;
}

describe('findDoubled', () => {
  it('finds a picture that is there twice, and no other', () => {
    const lights = [shot(0), shot(1), shot(1), shot(2), shot(3)];
    expect(findDoubled(lights)).toEqual([false, false, true, false, false]);
  });

  it('lets pictures of a body that stands still be', () => {
    const still = ['a', 'b', 'c'].map((seed) => renderFrame(scene, pose(0), 160, 120, { noise: 0.002, seed }));
    expect(findDoubled(still)).toEqual([false, false, false]);
  });
});

describe('findEmpty', () => {
  it('finds sky and fog, and keeps what little light comes through cloud', () => {
    const lights = [shot(0), sky(0.01, 0.004), shot(1, 0.1, 0.04), sky(0.25, 0.05), shot(2)];
    expect(findEmpty(lights.map(coarseLight))).toEqual([false, true, false, true, false]);
  });
});

describe('gainsOnGround', () => {
  it('gives the share of the light that came through', () => {
    const gains = [1, 1, 0.3, 1, 0.5, 1, 1];
    const found = gainsOnGround(
      gains.map((gain, k) => ({ coarse: coarseLight(shot(k, gain, 0.05 * (1 - gain))), pose: pose(k) })),
    );
    // Blocks of 4 px are put on the ground by whole blocks, which blurs the mean a little.
    gains.forEach((gain, k) => {
      expect(Math.abs(found[k]! - gain)).toBeLessThan(0.15 * gain);
    });
  });
});
