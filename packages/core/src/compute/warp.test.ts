import { describe, expect, it } from 'vitest';
import { expectSamples } from '../../test/floats.js';
import { createSceneField, planeOf, renderFrame } from '../../test/scene-field.js';
import { applyX, applyY, compose, IDENTITY, invert, poseAbout, translation } from './affine.js';
import { warpPlane } from './warp.js';

const scene = createSceneField({ seed: 'warp', widthPx: 90, heightPx: 70, sigmaPx: [2.5, 5] });
const source = renderFrame(scene, IDENTITY, 90, 70);

describe('warpPlane', () => {
  it('gives the picture back to the bit under the identity', () => {
    const { plane, coverage } = warpPlane(source, IDENTITY, 90, 70);
    expectSamples(plane.data, source.data);
    expectSamples(coverage.data, new Float32Array(90 * 70).fill(1));
  });

  it('moves whole pixels to the bit, and is 0 and uncovered where nothing came from', () => {
    const { plane, coverage } = warpPlane(source, translation(5, -3), 80, 60);
    const covered = (x: number, y: number): boolean => x >= 5 && y + 3 < 70;
    expectSamples(plane.data, planeOf(80, 60, (x, y) => (covered(x, y) ? source.data[(y + 3) * 90 + x - 5]! : 0)).data);
    expectSamples(coverage.data, planeOf(80, 60, (x, y) => (covered(x, y) ? 1 : 0)).data);
  });

  it('gives the picture back after four quarter turns', () => {
    const turn = { xx: 0, xy: -1, yx: 1, yy: 0, tx: 0, ty: 0 };
    const square = renderFrame(scene, IDENTITY, 64, 64);
    let turned = square;
    for (let k = 0; k < 4; k++) turned = warpPlane(turned, compose(translation(63, 0), turn), 64, 64).plane;
    expectSamples(turned.data, square.data);
  });

  it('shows smooth ground where the pose says', () => {
    const pose = poseAbout({ x: 44.5, y: 34.5 }, { shiftX: 3.37, shiftY: -2.61, rotationDeg: 2.2, scale: 1.01 });
    const { plane, coverage } = warpPlane(source, pose, 100, 80);
    const back = invert(pose);
    let worst = 0;
    let seen = 0;
    for (let y = 0; y < 80; y++) {
      for (let x = 0; x < 100; x++) {
        const sx = applyX(back, x, y);
        const sy = applyY(back, x, y);
        const within = sx >= 0 && sy >= 0 && sx <= 89 && sy <= 69;
        expect(coverage.data[y * 100 + x]).toBe(within ? 1 : 0);
        if (sx < 1 || sy < 1 || sx > 88 || sy > 68) continue;
        worst = Math.max(worst, Math.abs(plane.data[y * 100 + x]! - scene.at(sx, sy)));
        seen++;
      }
    }
    expect(seen).toBeGreaterThan(5000);
    // Cubic convolution on ground of σ ≥ 2.5 px: see the test of cubicAt.
    expect(worst).toBeLessThan(2e-3);
  });
});
