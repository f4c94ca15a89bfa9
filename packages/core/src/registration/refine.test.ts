import { describe, expect, it } from 'vitest';
import { createSceneField, poseDistancePx, renderFrame } from '../../test/scene-field.js';
import { type Affine, compose, IDENTITY, poseAbout, translation } from '../compute/affine.js';
import { createDetailPyramid, type DetailPyramid } from './detail-pyramid.js';
import { refinePose } from './refine.js';

const WIDTH = 320;
const HEIGHT = 240;
const centre = { x: (WIDTH - 1) / 2, y: (HEIGHT - 1) / 2 };
const scene = createSceneField({ seed: 'refine', widthPx: 460, heightPx: 380, sigmaPx: [1.8, 9] });

function pyramidAt(pose: Affine): DetailPyramid {
  return createDetailPyramid({ light: renderFrame(scene, compose(translation(70, 70), pose), WIDTH, HEIGHT) });
}

const fixed = pyramidAt(IDENTITY);
const truth = poseAbout(centre, { shiftX: 31.6, shiftY: -22.3, rotationDeg: 0.6 });
const moving = pyramidAt(truth);

describe('refinePose', () => {
  it.each([
    [16, 13, -9],
    [8, 6.5, -4.5],
    [4, -3.1, 2.2],
    [2, 1.3, 1],
    [1, 0.6, -0.5],
  ])('takes a lock on pictures binned by %i down to full resolution', (factor, dx, dy) => {
    const found = refinePose(fixed, moving, compose(translation(dx, dy), truth), factor, 'rigid')!;
    // Limited by what the band-pass does not know beyond the edges. Measured 0.09.
    expect(poseDistancePx(found.pose, truth, WIDTH, HEIGHT)).toBeLessThan(0.15);
    expect(found.correlation).toBeGreaterThan(0.97);
  });

  it('needs the coarse steps for a start that is far off', () => {
    const start = compose(translation(13, -9), truth);
    const direct = refinePose(fixed, moving, start, 1, 'rigid');
    expect(direct === undefined || poseDistancePx(direct.pose, truth, WIDTH, HEIGHT) > 1).toBe(true);
  });

  it('answers the inverse when the pictures change places', () => {
    const there = refinePose(fixed, moving, truth, 4, 'rigid')!.pose;
    const back = refinePose(moving, fixed, poseAbout(centre, { shiftX: -31.6, shiftY: 22.3 }), 4, 'rigid')!.pose;
    expect(poseDistancePx(compose(there, back), IDENTITY, WIDTH, HEIGHT)).toBeLessThan(0.2);
  });

  it('gives nothing without an overlap', () => {
    expect(refinePose(fixed, moving, translation(WIDTH + 20, 0), 4, 'rigid')).toBeUndefined();
  });
});
