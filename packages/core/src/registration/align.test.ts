import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { createSceneField, planeOf, poseDistancePx, type RecordOptions, renderFrame } from '../../test/scene-field.js';
import { type Affine, applyX, applyY, compose, IDENTITY, poseAbout, translation } from '../compute/affine.js';
import { createPlane } from '../compute/image.js';
import { ALIGN_DEFAULTS, type AlignFreedom, alignPair, type DetailPicture } from './align.js';
import { BAND_PASS_DEFAULTS, bandPass } from './band-pass.js';

const WIDTH = 160;
const HEIGHT = 128;
const centre = { x: (WIDTH - 1) / 2, y: (HEIGHT - 1) / 2 };
const scene = createSceneField({ seed: 'align', widthPx: 300, heightPx: 260 });
const fixedPose = translation(60, 60);

/** What a frame at `moving px -> fixed px` records; light itself serves as detail, so that no filter limits the test. */
function detailAt(pose: Affine, options?: RecordOptions): DetailPicture {
  return { detail: renderFrame(scene, compose(fixedPose, pose), WIDTH, HEIGHT, options) };
}

const fixed = detailAt(IDENTITY);
const settings = (freedom: AlignFreedom) => ({ ...ALIGN_DEFAULTS, freedom });

describe('alignPair', () => {
  it('does not move pictures that already agree', () => {
    const found = alignPair(fixed, fixed, IDENTITY, settings('similarity'))!;
    expect(found.converged).toBe(true);
    expect(found.correlation).toBeGreaterThan(1 - 1e-9);
    expect(poseDistancePx(found.pose, IDENTITY, WIDTH, HEIGHT)).toBeLessThan(1e-6);
  });

  it.each([
    ['shift', { shiftX: 1.37, shiftY: -0.82 }],
    ['shift', { shiftX: -37.4, shiftY: 21.15 }],
    ['rigid', { shiftX: 0.61, shiftY: 1.44, rotationDeg: 0.4 }],
    ['rigid', { shiftX: 24.3, shiftY: -18.8, rotationDeg: -0.35 }],
    ['similarity', { shiftX: 2.2, shiftY: 0.9, rotationDeg: 0.3, scale: 1.006 }],
  ] as const)('finds a %s of %j from a start 1.5 px off', (freedom, parts) => {
    const truth = poseAbout(centre, parts);
    const start = translation(truth.tx + 1.2, truth.ty - 0.9);
    const found = alignPair(
      fixed,
      detailAt(truth),
      freedom === 'shift' ? start : compose(translation(1.2, -0.9), truth),
      settings(freedom),
    )!;
    expect(found.converged).toBe(true);
    expect(found.correlation).toBeGreaterThan(0.9995);
    // Without noise, cubic convolution of the finest blobs is what is left. Measured up to 0.005.
    expect(poseDistancePx(found.pose, truth, WIDTH, HEIGHT)).toBeLessThan(0.01);
  });

  it('finds a turn and a growth from a start without them', () => {
    const truth = poseAbout(centre, { shiftX: 1.1, shiftY: -0.7, rotationDeg: 0.5, scale: 1.008 });
    const found = alignPair(fixed, detailAt(truth), IDENTITY, settings('similarity'))!;
    expect(poseDistancePx(found.pose, truth, WIDTH, HEIGHT)).toBeLessThan(0.01);
  });

  it('stays on the freedom that it was given', () => {
    const truth = poseAbout(centre, { shiftX: 0.4, shiftY: 0.3, rotationDeg: 0.3, scale: 1.004 });
    const moving = detailAt(truth);
    const shift = alignPair(fixed, moving, IDENTITY, settings('shift'))!.pose;
    expect([shift.xx, shift.xy, shift.yx, shift.yy]).toEqual([1, 0, 0, 1]);
    const { xx, xy, yx, yy } = alignPair(fixed, moving, IDENTITY, settings('rigid'))!.pose;
    // Products of exact rotations.
    expect(Math.abs(xx * yy - xy * yx - 1)).toBeLessThan(1e-12);
    expect(Math.abs(yx)).toBeGreaterThan(1e-3);
  });

  it('turns until it has arrived, even when the shift rests from the start', () => {
    // Ground that is the same after half a turn about the centre: a turn about it never asks for a shift.
    const symmetric = (pose: Affine): DetailPicture => {
      const light = planeOf(WIDTH, HEIGHT, (x, y) => {
        const u = applyX(pose, x, y) - centre.x;
        const v = applyY(pose, x, y) - centre.y;
        return 4 * scene.at(150 + u, 130 + v) * scene.at(150 - u, 130 - v);
      });
      return { detail: light };
    };
    const truth = poseAbout(centre, { shiftX: 0, shiftY: 0, rotationDeg: 1.2 });
    const found = alignPair(symmetric(IDENTITY), symmetric(truth), IDENTITY, { ...settings('rigid'), stridePx: 1 })!;
    // A turn by 1.2° moves the corners by 2.1 px.
    expect(poseDistancePx(found.pose, truth, WIDTH, HEIGHT)).toBeLessThan(0.01);
  });

  it('answers the same for any gain and offset of the moving detail', () => {
    const truth = poseAbout(centre, { shiftX: 1.3, shiftY: -0.6, rotationDeg: 0.2 });
    const moving = detailAt(truth);
    const plain = alignPair(fixed, moving, IDENTITY)!;
    fc.assert(
      fc.property(
        fc.double({ min: 0.05, max: 20, noNaN: true }),
        fc.double({ min: -5, max: 5, noNaN: true }),
        (gain, offset) => {
          const { data } = moving.detail;
          const changed = { detail: planeOf(WIDTH, HEIGHT, (x, y) => gain * data[y * WIDTH + x]! + offset) };
          // The changed detail is rounded to Float32 again, after an offset of up to 5.
          expect(poseDistancePx(alignPair(fixed, changed, IDENTITY)!.pose, plain.pose, WIDTH, HEIGHT)).toBeLessThan(
            1e-3,
          );
        },
      ),
      { seed: 8, numRuns: 6 },
    );
  });

  it('answers the inverse when the pictures change places', () => {
    const part = fc.double({ min: -1.5, max: 1.5, noNaN: true });
    fc.assert(
      fc.property(part, part, part, (shiftX, shiftY, turn) => {
        const moving = detailAt(poseAbout(centre, { shiftX, shiftY, rotationDeg: turn / 4 }));
        const there = alignPair(fixed, moving, IDENTITY)!;
        const back = alignPair(moving, fixed, IDENTITY)!;
        // Both are within 0.01 px of the truth.
        expect(poseDistancePx(compose(there.pose, back.pose), IDENTITY, WIDTH, HEIGHT)).toBeLessThan(0.025);
      }),
      { seed: 21, numRuns: 6 },
    );
  });

  it('uses covered ground only', () => {
    const truth = translation(1.4, -0.8);
    const moving = detailAt(truth);
    // Other ground in a third of each picture, from 2 px beyond the edge of the coverage on: the interpolation reaches so far.
    const spoilt = (picture: DetailPicture, covered: (x: number) => boolean, clean: (x: number) => boolean) => ({
      detail: planeOf(WIDTH, HEIGHT, (x, y) => (clean(x) ? picture : elsewhere).detail.data[y * WIDTH + x]!),
      coverage: planeOf(WIDTH, HEIGHT, (x) => (covered(x) ? 1 : 0)),
    });
    const elsewhere = { detail: planeOf(WIDTH, HEIGHT, (x, y) => 3 * scene.at(70 + x, 50 + y)) };
    const left = spoilt(
      fixed,
      (x) => x >= 52,
      (x) => x >= 50,
    );
    const right = spoilt(
      moving,
      (x) => x < 110,
      (x) => x < 110,
    );
    const found = alignPair(left, right, IDENTITY)!;
    expect(poseDistancePx(found.pose, truth, WIDTH, HEIGHT)).toBeLessThan(0.02);
    expect(found.samples).toBeLessThan(alignPair(fixed, moving, IDENTITY)!.samples / 2);
  });

  it('holds on the detail that registration really uses', () => {
    const truth = poseAbout(centre, { shiftX: 24.3, shiftY: -18.8, rotationDeg: -0.35 });
    const passed = ({ detail }: DetailPicture): DetailPicture => ({ detail: bandPass(detail, BAND_PASS_DEFAULTS) });
    const found = alignPair(passed(fixed), passed(detailAt(truth)), compose(translation(1.2, -0.9), truth))!;
    // The filter knows nothing beyond the edge of either picture, and these are small. Measured 0.08.
    expect(poseDistancePx(found.pose, truth, WIDTH, HEIGHT)).toBeLessThan(0.15);
  });

  it('draws in with noise as strong as a twentieth of the light', () => {
    const truth = poseAbout(centre, { shiftX: 1.3, shiftY: -1.1, rotationDeg: 0.25 });
    const noisy = detailAt(IDENTITY, { noise: 0.0125, seed: 'a' });
    const found = alignPair(noisy, detailAt(truth, { noise: 0.0125, seed: 'b' }), IDENTITY)!;
    // Measured below 0.04 at the corners.
    expect(poseDistancePx(found.pose, truth, WIDTH, HEIGHT)).toBeLessThan(0.12);
  });

  it('gives nothing without an overlap or without detail', () => {
    expect(alignPair(fixed, fixed, translation(WIDTH - 4, 0))).toBeUndefined();
    expect(alignPair({ detail: createPlane(WIDTH, HEIGHT) }, fixed, IDENTITY)).toBeUndefined();
    expect(alignPair(fixed, { detail: createPlane(WIDTH, HEIGHT) }, IDENTITY)).toBeUndefined();
  });
});
