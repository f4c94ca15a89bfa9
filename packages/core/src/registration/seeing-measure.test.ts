import { afterAll, describe, expect, it } from 'vitest';
import { createSceneField } from '../../test/scene-field.js';
import { applyX, applyY, translation } from '../compute/affine.js';
import { bendAt, bendRms } from '../compute/bend-grid.js';
import { createPlane } from '../compute/image.js';
import { createWorkerPool } from '../compute/pool.js';
import { createRandom } from '../compute/random.js';
import { BAND_PASS_DEFAULTS, bandPass } from './band-pass.js';
import { createField, type SeeingField } from './seeing-field.js';
import { removeMean } from './seeing-mean.js';
import { createSharedField, type FrameToUnbend, measureFields } from './seeing-measure.js';

const pool = createWorkerPool({ workers: 2 });
afterAll(() => pool.close());

const WIDTH = 480;
const HEIGHT = 360;
const FRAMES = 8;
const scene = createSceneField({ seed: 'seeing', widthPx: 900, heightPx: 420 });

/** Waves of some 200 px, about 0.5 px rms per axis, another for every frame. */
function bendOf(k: number): SeeingField {
  const random = createRandom(`bend-${k}`);
  const field = createField(WIDTH, HEIGHT, 16);
  for (const part of [field.x, field.y]) {
    for (let n = 0; n < 6; n++) {
      const [kx, ky, phase] = [random.normal() / 60, random.normal() / 60, 2 * Math.PI * random.uniform()];
      for (let i = 0; i < part.length; i++) {
        const [x, y] = [16 * (i % field.columns), 16 * Math.floor(i / field.columns)];
        part[i]! += 0.29 * Math.sin(kx * x + ky * y + phase);
      }
    }
  }
  return field;
}

/** Frames that show the scene as they drift, each bent. */
function frames(): { readonly frames: FrameToUnbend[]; readonly truth: SeeingField[] } {
  const truth = Array.from({ length: FRAMES }, (_, k) => bendOf(k));
  const made = truth.map((bend, k) => {
    const pose = translation(20 + 40 * k, 25 + 0.7 * k);
    const light = createPlane(WIDTH, HEIGHT);
    const random = createRandom(`noise-${k}`);
    for (let y = 0; y < HEIGHT; y++) {
      for (let x = 0; x < WIDTH; x++) {
        const [bx, by] = bendAt(bend, x, y);
        const at = scene.at(applyX(pose, x + bx, y + by), applyY(pose, x + bx, y + by));
        light.data[y * WIDTH + x] = at + 0.002 * random.normal();
      }
    }
    const detail = createPlane(WIDTH, HEIGHT, true);
    detail.data.set(bandPass(light, BAND_PASS_DEFAULTS).data);
    return { detail, pose, weight: 1, field: createSharedField(WIDTH, HEIGHT) };
  });
  removeMean(truth.map((field, k) => ({ pose: made[k]!.pose, widthPx: WIDTH, heightPx: HEIGHT, field })));
  return { frames: made, truth };
}

describe('measureFields', () => {
  it('finds how each frame is bent against the mean of all, to a fraction of the bend', {
    timeout: 60_000,
  }, async () => {
    const { frames: made, truth } = frames();
    await measureFields(made, pool);
    let [left, whole, count] = [0, 0, 0];
    made.forEach(({ field }, k) => {
      for (let y = 48; y < HEIGHT - 48; y += 24) {
        for (let x = 48; x < WIDTH - 48; x += 24) {
          const [ax, ay] = bendAt(field, x, y);
          const [bx, by] = bendAt(truth[k]!, x, y);
          left += (ax - bx) ** 2 + (ay - by) ** 2;
          whole += bx * bx + by * by;
          count += 2;
        }
      }
    });
    expect(Math.sqrt(whole / count)).toBeGreaterThan(0.3);
    expect(Math.sqrt(left / count)).toBeLessThan(0.1);
  });

  it('gives the same bits for any number of workers', { timeout: 60_000 }, async () => {
    const [one, two] = [frames().frames.slice(0, 3), frames().frames.slice(0, 3)];
    const single = createWorkerPool({ workers: 1 });
    await Promise.all([measureFields(one, single), measureFields(two, pool)]);
    await single.close();
    expect(bendRms(one.map((f) => f.field))).toBeGreaterThan(0.05);
    one.forEach((frame, k) => {
      expect(frame.field.x).toEqual(two[k]!.field.x);
      expect(frame.field.y).toEqual(two[k]!.field.y);
    });
  });
});
