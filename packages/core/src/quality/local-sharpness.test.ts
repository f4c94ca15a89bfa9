import { describe, expect, it } from 'vitest';
import { createSceneField, planeOf, renderFrame } from '../../test/scene-field.js';
import { translation } from '../compute/affine.js';
import { gaussianBlur } from '../compute/gaussian.js';
import { type Plane, rowsOf } from '../compute/image.js';
import { reduceToBlocks } from './blocks.js';
import { fineNoise } from './grade-frame.js';
import { localSharpness, type NoisyBlocks } from './local-sharpness.js';
import { relativeSharpness } from './sharpness.js';
import { surveyFrame } from './survey.js';

const WIDTH = 480;
const HEIGHT = 320;
const scene = createSceneField({ seed: 'local', widthPx: 700, heightPx: 460, sigmaPx: [1.5, 3] });
const NOISE = 0.0005;

/** A frame whose left and right halves are blurred by so many px. */
function frameOf(k: number, left: number, right: number): NoisyBlocks {
  const pose = translation(40 + 12 * k, 40 + 3 * k);
  const light = renderFrame(scene, pose, WIDTH, HEIGHT, {});
  const [a, b] = [gaussianBlur(light, left), gaussianBlur(light, right)];
  const noise = renderFrame(scene, pose, WIDTH, HEIGHT, { noise: NOISE, seed: `local ${k}` });
  const plane = planeOf(WIDTH, HEIGHT, (x, y) => {
    const i = y * WIDTH + x;
    return (x < WIDTH / 2 ? a : b).data[i]! + noise.data[i]! - light.data[i]!;
  });
  const image = { width: WIDTH, height: HEIGHT, planes: [plane.data] };
  return {
    pose,
    blocks: reduceToBlocks(surveyFrame(rowsOf(image), 1, 0), fineOf(plane), fineNoise(NOISE)),
    fineNoise: fineNoise(NOISE),
  };
}

function fineOf(plane: Plane): Plane {
  const near = gaussianBlur(plane, 0.7);
  const far = gaussianBlur(plane, 1.6);
  return planeOf(WIDTH, HEIGHT, (x, y) => near.data[y * WIDTH + x]! - far.data[y * WIDTH + x]!);
}

/** Sharpness of a frame around frame px (x, y), which the pose of `frameOf` puts on the strip. */
function at(local: ReturnType<typeof localSharpness>, k: number, x: number, y: number): number {
  const c = Math.round((x + 40 + 12 * k - local.x0) / local.stepPx);
  const r = Math.round((y + 40 + 3 * k - local.y0) / local.stepPx);
  return local.frames[k]![r * local.columns + c]!;
}

describe('localSharpness', () => {
  it('finds in each half what frames blurred so all over have', () => {
    const halves = [
      [0.6, 1.6],
      [1.6, 0.6],
      [1.1, 1.1],
    ] as const;
    const local = localSharpness(halves.map((h, k) => frameOf(k, h[0], h[1])));
    const left = relativeSharpness(halves.map((h, k) => frameOf(k, h[0], h[0])));
    const right = relativeSharpness(halves.map((h, k) => frameOf(k, h[1], h[1])));
    expect(left[0]! - left[1]!).toBeGreaterThan(0.3);
    halves.forEach((_, k) => {
      for (const y of [60, 160, 260]) {
        expect(Math.abs(at(local, k, 90, y) - left[k]!)).toBeLessThan(0.08);
        expect(Math.abs(at(local, k, 390, y) - right[k]!)).toBeLessThan(0.08);
      }
    });
  });

  it('leaves frames that the air blurs evenly with their own mean nearly everywhere', () => {
    const local = localSharpness([0.8, 1, 1.2, 1.4].map((blur, k) => frameOf(k, blur, blur)));
    local.frames.forEach((map, k) => {
      const mean = map.reduce((sum, s) => sum + s / map.length, 0);
      const rms = Math.sqrt(map.reduce((sum, s) => sum + (s - mean) ** 2 / map.length, 0));
      // Two halves of one frame differ by 0.3 and more above.
      expect(rms).toBeLessThan(0.04);
      if (k > 0) expect(mean).toBeLessThan(at(local, k - 1, 240, 160));
    });
  });
});
