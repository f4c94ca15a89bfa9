import { describe, expect, it } from 'vitest';
import { expectSamples } from '../../test/floats.js';
import { createSceneField, planeOf, renderFrame } from '../../test/scene-field.js';
import { IDENTITY } from './affine.js';
import { gradientWithKernels } from './kernels-filter.js';

describe('gradientWithKernels', () => {
  it('is exact for a plane, with halves at the border', () => {
    const { x, y } = gradientWithKernels(planeOf(5, 4, (px, py) => 3 * px - 8 * py));
    expectSamples(x, planeOf(5, 4, (px) => (px === 0 || px === 4 ? 1.5 : 3)).data);
    expectSamples(y, planeOf(5, 4, (_, py) => (py === 0 || py === 3 ? -4 : -8)).data);
  });

  it('is 0 along a side of one pixel', () => {
    expectSamples(gradientWithKernels(planeOf(1, 3, (_, y) => y)).x, [0, 0, 0]);
    expectSamples(gradientWithKernels(planeOf(3, 1, (x) => x)).y, [0, 0, 0]);
  });

  it('follows the slope of smooth ground', () => {
    const scene = createSceneField({ seed: 'gradient', widthPx: 60, heightPx: 50, sigmaPx: [3, 6] });
    const { x, y } = gradientWithKernels(renderFrame(scene, IDENTITY, 60, 50));
    const step = 1e-4;
    for (let py = 1; py < 49; py += 3) {
      for (let px = 1; px < 59; px += 3) {
        const trueX = (scene.at(px + step, py) - scene.at(px - step, py)) / (2 * step);
        const trueY = (scene.at(px, py + step) - scene.at(px, py - step)) / (2 * step);
        // A central difference misses a sixth of the third derivative: about 1/(2σ²) of slopes up to 0.1 at σ = 3. Measured 4.5e-3.
        expect(Math.abs(x[py * 60 + px]! - trueX)).toBeLessThan(6e-3);
        expect(Math.abs(y[py * 60 + px]! - trueY)).toBeLessThan(6e-3);
      }
    }
  });
});
