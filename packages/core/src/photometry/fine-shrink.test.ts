import { describe, expect, it } from 'vitest';
import { expectSamples } from '../../test/floats.js';
import { createPlane, type Plane } from '../compute/image.js';
import { createRandom } from '../compute/random.js';
import { keepSignificant, type WeighedField } from './fine-shrink.js';

const WIDTH = 320;
const HEIGHT = 240;
const NOISE = 0.004;

/** Two estimates of the same field, each with noise of its own. */
function estimates(of: (x: number, y: number) => number, noise = NOISE): [WeighedField, WeighedField] {
  return ['even', 'odd'].map((seed) => {
    const random = createRandom(seed);
    const weight = createPlane(WIDTH, HEIGHT);
    const sum = createPlane(WIDTH, HEIGHT);
    weight.data.fill(1 / NOISE ** 2);
    for (let i = 0; i < sum.data.length; i++) {
      sum.data[i] = weight.data[i]! * (of(i % WIDTH, Math.floor(i / WIDTH)) + noise * random.normal());
    }
    return { sum, weight };
  }) as [WeighedField, WeighedField];
}

/** As wide, against the frame, as the largest shadows are. */
const disc = (x: number, y: number): number => (Math.hypot(x - 60, y - 50) < 9 ? -0.02 : 0);

const rms = (plane: Plane, of: (x: number, y: number) => number, where: (x: number, y: number) => boolean): number => {
  let [sum, count] = [0, 0];
  plane.data.forEach((v, i) => {
    const [x, y] = [i % WIDTH, Math.floor(i / WIDTH)];
    if (!where(x, y)) return;
    sum += (v - of(x, y)) ** 2;
    count++;
  });
  return Math.sqrt(sum / count);
};

describe('keepSignificant', () => {
  it('keeps a shadow', () => {
    const kept = keepSignificant(...estimates(disc));
    // The mean of both has noise of 0.0028 a px, the shadow is 0.02 deep and even inside.
    expect(rms(kept, disc, (x, y) => Math.hypot(x - 60, y - 50) < 6)).toBeLessThan(0.003);
  });

  it('makes nothing of noise: a twentieth of it is left at most', () => {
    const kept = keepSignificant(...estimates(() => 0));
    expect(
      rms(
        kept,
        () => 0,
        () => true,
      ),
    ).toBeLessThan(NOISE / 20);
  });

  it('gives 0 where nothing is known', () => {
    const none = (): WeighedField => ({ sum: createPlane(WIDTH, HEIGHT), weight: createPlane(WIDTH, HEIGHT) });
    expect(keepSignificant(none(), none()).data.every((v) => v === 0)).toBe(true);
  });

  it('leaves its input alone', () => {
    const [a, b] = estimates(disc);
    const before = structuredClone([a, b]);
    keepSignificant(a, b);
    [a, b].forEach((field, k) => {
      expectSamples(field.sum.data, before[k]!.sum.data);
      expectSamples(field.weight.data, before[k]!.weight.data);
    });
  });
});
