import { describe, expect, it } from 'vitest';
import { createSceneField, planeOf, poseDistancePx, type RecordOptions, renderFrame } from '../../test/scene-field.js';
import { type Affine, compose, IDENTITY, invert, poseAbout, translation } from '../compute/affine.js';
import { createPlane, type Plane } from '../compute/image.js';
import { createRandom } from '../compute/random.js';
import { LOCK_DEFAULTS, lockPair } from './lock.js';
import { believable } from './lock-frames.js';

const WIDTH = 192;
const HEIGHT = 144;
const centre = { x: (WIDTH - 1) / 2, y: (HEIGHT - 1) / 2 };
const scene = createSceneField({ seed: 'lock', widthPx: 520, heightPx: 420 });

function lightAt(pose: Affine, options?: RecordOptions): Plane {
  return renderFrame(scene, compose(translation(160, 130), pose), WIDTH, HEIGHT, options);
}

const fixed = { light: lightAt(IDENTITY) };

describe('lockPair', () => {
  it.each([
    [0, 0],
    [3.4, -2.7],
    [70, 45],
    [-120.3, 20.4],
    [15, -95.6],
  ])('finds a shift of (%d, %d) px first', (dx, dy) => {
    const [best] = lockPair(fixed, { light: lightAt(translation(dx, dy)) });
    // Shifts of whole coarse pixels, here of one px.
    expect(poseDistancePx(best!.pose, translation(dx, dy), WIDTH, HEIGHT)).toBeLessThan(1);
    const share = (1 - Math.abs(dx) / WIDTH) * (1 - Math.abs(dy) / HEIGHT);
    expect(Math.abs(best!.overlap - share)).toBeLessThan(0.02);
    expect(believable(best!)).toBe(true);
  });

  it('answers the inverse when the pictures change places', () => {
    const moving = { light: lightAt(translation(41.5, -17.2)) };
    const there = lockPair(fixed, moving)[0]!;
    const back = lockPair(moving, fixed)[0]!;
    expect(poseDistancePx(compose(there.pose, back.pose), IDENTITY, WIDTH, HEIGHT)).toBeLessThan(1.5);
    expect(poseDistancePx(there.pose, invert(back.pose), WIDTH, HEIGHT)).toBeLessThan(1.5);
  });

  it('works on binned pictures and answers at full scale', () => {
    const wide = createSceneField({ seed: 'wide', widthPx: 700, heightPx: 600, sigmaPx: [3, 14], areaPx2: 300 });
    const at = (pose: Affine): Plane => renderFrame(wide, compose(translation(150, 150), pose), 384, 288);
    const truth = translation(97.3, -61.8);
    const [best] = lockPair({ light: at(IDENTITY) }, { light: at(truth) }, { ...LOCK_DEFAULTS, coarseSidePx: 128 });
    // Binned by 3: good to about one coarse pixel.
    expect(poseDistancePx(best!.pose, truth, 384, 288)).toBeLessThan(3);
  });

  it('picks the turn that fits among those that it may try', () => {
    const truth = poseAbout(centre, { shiftX: 22, shiftY: -14, rotationDeg: 3.2 });
    const settings = { ...LOCK_DEFAULTS, rotationsDeg: [-3, 0, 3] };
    const [best] = lockPair(fixed, { light: lightAt(truth) }, settings);
    // 0.2° short of the turn: 0.4 px at the corners, and a whole pixel of shift.
    expect(poseDistancePx(best!.pose, truth, WIDTH, HEIGHT)).toBeLessThan(1.5);
  });

  it('does not care for exposure, shading or a sky gradient', () => {
    const truth = translation(-33, 18);
    const light = lightAt(truth);
    const shaded = planeOf(WIDTH, HEIGHT, (x, y) => {
      const r2 = ((x - centre.x) ** 2 + (y - centre.y) ** 2) / 120 ** 2;
      return 0.4 * light.data[y * WIDTH + x]! * (1 - 0.4 * r2) + 0.02 + 1e-4 * x;
    });
    expect(poseDistancePx(lockPair(fixed, { light: shaded })[0]!.pose, truth, WIDTH, HEIGHT)).toBeLessThan(1);
  });

  it('holds against a pattern that stays with the sensor', () => {
    const pattern = createRandom('pattern');
    const dirt = Float32Array.from({ length: WIDTH * HEIGHT }, () => 1 + 0.03 * pattern.normal());
    const dirty = (plane: Plane): Plane =>
      planeOf(WIDTH, HEIGHT, (x, y) => plane.data[y * WIDTH + x]! * dirt[y * WIDTH + x]!);
    const truth = translation(7, 4);
    const [best] = lockPair({ light: dirty(fixed.light) }, { light: dirty(lightAt(truth)) });
    expect(poseDistancePx(best!.pose, truth, WIDTH, HEIGHT)).toBeLessThan(1);
  });

  it('uses covered ground only', () => {
    const truth = translation(60, 10);
    const moving = lightAt(truth);
    const elsewhere = lightAt(translation(-140, -90));
    const covered = (x: number, y: number): boolean => x < 130 && y > 20;
    const spoilt = {
      light: planeOf(WIDTH, HEIGHT, (x, y) => (covered(x, y) ? moving : elsewhere).data[y * WIDTH + x]!),
      coverage: planeOf(WIDTH, HEIGHT, (x, y) => (covered(x, y) ? 1 : 0)),
    };
    const [best] = lockPair(fixed, spoilt);
    expect(poseDistancePx(best!.pose, truth, WIDTH, HEIGHT)).toBeLessThan(1);
    expect(best!.overlap).toBeLessThanOrEqual(1);
  });

  it('believes nothing of pictures that share no ground', () => {
    const far = createSceneField({ seed: 'far', widthPx: 300, heightPx: 260 });
    for (let k = 0; k < 6; k++) {
      const light = renderFrame(far, translation(15 * k, 12 * k), WIDTH, HEIGHT);
      for (const candidate of lockPair(fixed, { light })) expect(believable(candidate)).toBe(false);
    }
    const random = createRandom('noise');
    const noise = planeOf(WIDTH, HEIGHT, () => 0.2 + 0.02 * random.normal());
    for (const candidate of lockPair(fixed, { light: noise })) expect(believable(candidate)).toBe(false);
    for (const candidate of lockPair(fixed, { light: createPlane(WIDTH, HEIGHT) }))
      expect(believable(candidate)).toBe(false);
  });

  it('lists the best first, and leaves its inputs alone', () => {
    const before = fixed.light.data.slice();
    const found = lockPair(fixed, { light: lightAt(translation(20, 9)) }).map((c) => c.significance);
    expect(found).toEqual([...found].sort((a, b) => b - a));
    expect(found.length).toBeGreaterThan(1);
    expect(fixed.light.data).toEqual(before);
  });
});
