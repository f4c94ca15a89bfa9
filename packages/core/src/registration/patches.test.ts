import { describe, expect, it } from 'vitest';
import { createSceneField, planeOf, type RecordOptions, renderFrame } from '../../test/scene-field.js';
import { type Affine, applyX, applyY, compose, IDENTITY, poseAbout, translation } from '../compute/affine.js';
import { createPlane } from '../compute/image.js';
import type { DetailPicture } from './align.js';
import { BAND_PASS_DEFAULTS, bandPass } from './band-pass.js';
import { measurePatches, PATCH_DEFAULTS, type PatchShift } from './patches.js';

const WIDTH = 240;
const HEIGHT = 200;
const centre = { x: (WIDTH - 1) / 2, y: (HEIGHT - 1) / 2 };
const scene = createSceneField({ seed: 'patches', widthPx: 400, heightPx: 360 });

function detailAt(pose: Affine, options?: RecordOptions): DetailPicture {
  return {
    detail: bandPass(
      renderFrame(scene, compose(translation(70, 70), pose), WIDTH, HEIGHT, options),
      BAND_PASS_DEFAULTS,
    ),
  };
}

const fixed = detailAt(IDENTITY);

/** Largest error of the shifts, when `truth` maps moving px to fixed px and `pose` was given. */
function worst(shifts: readonly PatchShift[], truth: Affine, pose: Affine): number {
  return Math.max(
    ...shifts.map((s) =>
      Math.hypot(
        s.dx - (applyX(truth, s.x, s.y) - applyX(pose, s.x, s.y)),
        s.dy - (applyY(truth, s.x, s.y) - applyY(pose, s.x, s.y)),
      ),
    ),
  );
}

describe('measurePatches', () => {
  it('covers the overlap, and finds no shift where there is none', () => {
    const shifts = measurePatches(fixed, fixed, IDENTITY);
    expect(shifts.length).toBeGreaterThanOrEqual(12);
    for (const s of shifts) {
      expect(Math.hypot(s.dx, s.dy)).toBeLessThan(1e-6);
      expect(s.correlation).toBeGreaterThan(1 - 1e-9);
    }
  });

  it('finds what the pose leaves: a shift of two px and a turn', () => {
    const truth = poseAbout(centre, { shiftX: 2.3, shiftY: -1.4, rotationDeg: 0.5 });
    const shifts = measurePatches(fixed, detailAt(truth), IDENTITY);
    expect(shifts.length).toBeGreaterThanOrEqual(9);
    // Within a patch of 64 px the turn of 0.5° still moves its corners by 0.4 px. Measured 0.09.
    expect(worst(shifts, truth, IDENTITY)).toBeLessThan(0.15);
  });

  it('answers by the inverse shifts when the pictures change places', () => {
    const truth = translation(1.7, 0.9);
    const moving = detailAt(truth);
    const there = measurePatches(fixed, moving, IDENTITY);
    const back = measurePatches(moving, fixed, IDENTITY);
    expect(worst(there, truth, IDENTITY)).toBeLessThan(0.04);
    expect(worst(back, translation(-1.7, -0.9), IDENTITY)).toBeLessThan(0.04);
  });

  it('answers the same for any gain and offset of the moving detail', () => {
    const moving = detailAt(translation(0.8, -0.5));
    const changed = { detail: planeOf(WIDTH, HEIGHT, (x, y) => 3.7 * moving.detail.data[y * WIDTH + x]! - 2) };
    const plain = measurePatches(fixed, moving, IDENTITY);
    const others = measurePatches(fixed, changed, IDENTITY);
    expect(others.length).toBe(plain.length);
    // The changed detail is rounded to Float32 again.
    others.forEach((s, k) => {
      expect(Math.hypot(s.dx - plain[k]!.dx, s.dy - plain[k]!.dy)).toBeLessThan(1e-4);
    });
  });

  it('says how far noise may have moved a patch', () => {
    const truth = translation(0.35, -0.6);
    const errors: number[] = [];
    for (let trial = 0; trial < 6; trial++) {
      const still = detailAt(IDENTITY, { noise: 0.02, seed: `a${trial}` });
      const moving = detailAt(truth, { noise: 0.02, seed: `b${trial}` });
      for (const s of measurePatches(still, moving, IDENTITY)) {
        errors.push((s.dx - truth.tx) / Math.sqrt(s.cxx), (s.dy - truth.ty) / Math.sqrt(s.cyy));
        expect(s.cxy ** 2).toBeLessThan(s.cxx * s.cyy);
      }
    }
    const spread = Math.sqrt(errors.reduce((sum, e) => sum + e * e, 0) / errors.length);
    expect(errors.length).toBeGreaterThan(100);
    // 1 if the covariance were exact; the area over which noise is alike is a round figure. A factor of 2 either way is usable.
    expect(spread).toBeGreaterThan(0.5);
    expect(spread).toBeLessThan(2);
  });

  it('leaves out patches that touch uncovered ground, in either picture', () => {
    const moving = { ...detailAt(translation(0.5, 0.5)), coverage: planeOf(WIDTH, HEIGHT, (x) => (x < 120 ? 1 : 0)) };
    const half = PATCH_DEFAULTS.sizePx / 2;
    const left = measurePatches(fixed, moving, IDENTITY);
    expect(left.length).toBeGreaterThan(0);
    for (const s of left) expect(s.x + half).toBeLessThanOrEqual(121);
    const covered = { ...fixed, coverage: planeOf(WIDTH, HEIGHT, (_, y) => (y >= 80 ? 1 : 0)) };
    const low = measurePatches(covered, detailAt(translation(0.5, 0.5)), IDENTITY);
    expect(low.length).toBeGreaterThan(0);
    for (const s of low) expect(s.y - half).toBeGreaterThanOrEqual(79);
  });

  it('gives nothing for other ground, for shifts beyond the limit, and without detail', () => {
    const elsewhere = {
      detail: bandPass(
        renderFrame(
          createSceneField({ seed: 'else', widthPx: 400, heightPx: 360 }),
          translation(70, 70),
          WIDTH,
          HEIGHT,
        ),
        BAND_PASS_DEFAULTS,
      ),
    };
    expect(measurePatches(fixed, elsewhere, IDENTITY)).toEqual([]);
    const limit = { ...PATCH_DEFAULTS, maxShiftPx: 1 };
    expect(measurePatches(fixed, detailAt(translation(1.6, 0)), IDENTITY, limit)).toEqual([]);
    expect(measurePatches(fixed, { detail: createPlane(WIDTH, HEIGHT) }, IDENTITY)).toEqual([]);
    const stripes = { detail: planeOf(WIDTH, HEIGHT, (x) => Math.sin(x / 2)) };
    expect(measurePatches(stripes, stripes, IDENTITY)).toEqual([]);
    expect(measurePatches(fixed, { detail: createPlane(40, 40) }, IDENTITY)).toEqual([]);
  });
});
