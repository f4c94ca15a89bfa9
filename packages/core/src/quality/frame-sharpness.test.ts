import { describe, expect, it } from 'vitest';
import { createSceneField, renderFrame } from '../../test/scene-field.js';
import { translation } from '../compute/affine.js';
import { gaussianBlur } from '../compute/gaussian.js';
import { createPlane, type Plane, rowsOf } from '../compute/image.js';
import { createRandom } from '../compute/random.js';
import { frameSharpness } from './frame-sharpness.js';

const [WIDTH, HEIGHT] = [400, 300];
const scene = createSceneField({ seed: 'sharpness', widthPx: 600, heightPx: 500 });
const frame = (noise: number): Plane =>
  renderFrame(scene, translation(80, 60), WIDTH, HEIGHT, { noise, seed: 'frame' });
const sharpness = (plane: Plane): number | null => frameSharpness(rowsOf({ ...plane, planes: [plane.data] }));

describe('frameSharpness', () => {
  it('falls with every blur, to less than half by one of 4 px', () => {
    const values = [0, 1, 2, 4].map((sigma) => sharpness(sigma > 0 ? gaussianBlur(frame(0), sigma) : frame(0))!);
    for (let i = 1; i < values.length; i++) expect(values[i]).toBeLessThan(values[i - 1]!);
    expect(values[3]! / values[0]!).toBeLessThan(0.5);
  });

  it('does not take noise for detail', () => {
    const blurred = gaussianBlur(frame(0), 3);
    const noisy = createPlane(WIDTH, HEIGHT);
    const [plain, with2] = [frame(0), frame(0.002)];
    for (let i = 0; i < noisy.data.length; i++) noisy.data[i] = blurred.data[i]! + with2.data[i]! - plain.data[i]!;
    expect(sharpness(noisy)! / sharpness(frame(0))!).toBeLessThan(0.6);
  });

  it('does not depend on how bright the frame is, nor on a level under it', () => {
    const plain = frame(0);
    const other = createPlane(WIDTH, HEIGHT);
    for (let i = 0; i < other.data.length; i++) other.data[i] = 0.02 + 0.3 * plain.data[i]!;
    expect(sharpness(other)).toBeCloseTo(sharpness(plain)!, 4);
  });

  it('says nothing of even light, of sky, and of frames that are too small', () => {
    const even = createPlane(WIDTH, HEIGHT);
    even.data.fill(0.4);
    expect(sharpness(even)).toBeNull();
    expect(sharpness(createPlane(40, 30))).toBeNull();
    const random = createRandom('sky');
    for (let round = 0; round < 6; round++) {
      const sky = createPlane(WIDTH, HEIGHT);
      for (let i = 0; i < sky.data.length; i++) sky.data[i] = 0.004 + 0.0004 * random.normal();
      expect(sharpness(sky)).toBeNull();
      // A bit of lit ground at the edge of what is looked at, beside where the range of light is told.
      for (let x = 150; x < 154; x++) sky.data[74 * WIDTH + x] = 0.4;
      expect(sharpness(sky)).toBeNull();
    }
  });
});
