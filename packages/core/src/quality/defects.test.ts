import { describe, expect, test } from 'vitest';
import { createSceneField, renderFrame } from '../../test/scene-field.js';
import { poseAbout } from '../compute/affine.js';
import { type LinearImage, rowsOf } from '../compute/image.js';
import { mendDefects, sensorDefects } from './defects.js';
import { surveyFrame } from './survey.js';

const WIDTH = 96;
const HEIGHT = 64;
const NOISE = 0.002;
const hot = [12 * WIDTH + 20, 40 * WIDTH + 70];
const cold = 30 * WIDTH + 50;
const scene = createSceneField({ seed: 'defects', widthPx: 240, heightPx: 120, level: 0.2 });

/** A frame of moving ground on a sensor with two hot pixels and a dead one. */
function frameAt(k: number): { image: LinearImage; clean: Float32Array } {
  const pose = poseAbout({ x: 0, y: 0 }, { shiftX: 20 + 9 * k, shiftY: 20 });
  const clean = renderFrame(scene, pose, WIDTH, HEIGHT, { noise: NOISE, seed: `${k}` }).data;
  const plane = Float32Array.from(clean);
  for (const i of hot) plane[i]! += 0.3;
  plane[cold] = 0;
  return { image: { width: WIDTH, height: HEIGHT, planes: [plane] }, clean };
}

describe('defects of the sensor', () => {
  const frames = Array.from({ length: 6 }, (_, k) => frameAt(k));

  test('are the pixels that stand out in most frames, and no others', () => {
    const found = sensorDefects(frames.map(({ image }) => surveyFrame(rowsOf(image), 1, NOISE).spikes));
    expect([...found]).toEqual([...hot, cold].sort((a, b) => a - b));
  });

  test('are mended to within the noise and the ground around; the rest stays', () => {
    const { image, clean } = frames[0]!;
    const before = Float32Array.from(image.planes[0]!);
    const mended: LinearImage = { ...image, planes: [Float32Array.from(before)] };
    mendDefects(mended, Uint32Array.from([...hot, cold]));
    for (let i = 0; i < before.length; i++) {
      if (hot.includes(i) || i === cold) expect(Math.abs(mended.planes[0]![i]! - clean[i]!)).toBeLessThan(0.03);
      else expect(mended.planes[0]![i]).toBe(before[i]);
    }
  });

  test('cannot be told from ground in one or two frames', () => {
    const spikes = frames.slice(0, 2).map(({ image }) => surveyFrame(rowsOf(image), 1, NOISE).spikes);
    expect(spikes[0]!.length).toBeGreaterThan(0);
    expect(sensorDefects(spikes)).toHaveLength(0);
  });

  test('noise without end is no defect', () => {
    const { image } = frames[0]!;
    expect(
      surveyFrame(rowsOf({ ...image, planes: [image.planes[0]!.map((v, i) => v + (i % 9 === 0 ? 0.2 : 0))] }), 1, NOISE)
        .spikes,
    ).toHaveLength(0);
  });
});
