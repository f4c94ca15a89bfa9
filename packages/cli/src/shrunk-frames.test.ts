import type { PlanRehearsal, ShotList } from '@plenilune/core';
import { expect, test } from 'vitest';
import { shrunkFrames, shrunkLines } from './shrunk-frames.js';

test("frames that are smaller than the camera's are told with factor and reason; its own are not", () => {
  const { camera } = { camera: { widthPx: 4096, heightPx: 2160, pitchUm: 5.5 } };
  const of = (sensor: object) =>
    shrunkFrames({ camera } as ShotList, { captureSettings: { sensor } } as unknown as PlanRehearsal);
  const shrunk = of({ widthPx: 910, heightPx: 480, pitchUm: 24.75 });
  expect(shrunk).toMatchObject({ timesSmaller: 4.5, pitchUm: 24.75, camera: { heightPx: 2160 } });
  expect(shrunkLines(shrunk)).toEqual([
    "The rehearsed frames are 910 x 480 px, each side 4.5 times shorter than the camera's 4096 x 2160 px, so that frames are drawn, checked and stitched in minutes. The field is the same: capture.yaml gives their pixels a pitch of 24.75 µm.",
  ]);
  expect(shrunkLines(of(camera))).toEqual([]);
});
