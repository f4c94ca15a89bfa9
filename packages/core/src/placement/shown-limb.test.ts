import { expect, test } from 'vitest';
import { gaussianBlur } from '../compute/gaussian.js';
import { createPlane } from '../compute/image.js';
import { findLimb } from './limb.js';
import { findShownLimb } from './shown-limb.js';

/** An evenly lit disc, soft by a pixel. */
function disc(level: number) {
  const plane = createPlane(260, 240);
  for (let y = 0; y < plane.height; y++) {
    for (let x = 0; x < plane.width; x++) {
      plane.data[y * plane.width + x] = Math.hypot(x - 130.4, y - 119.7) < 80 ? level : 0.004 * level;
    }
  }
  return gaussianBlur(plane, 1);
}

test('light above the clipping point is light like any other', () => {
  expect(findLimb(disc(3))).toBeNull();
  const found = findShownLimb(disc(3))!;
  const plain = findLimb(disc(0.4))!;
  expect(found.centreX).toBeCloseTo(plain.centreX, 4);
  expect(found.centreY).toBeCloseTo(plain.centreY, 4);
  expect(found.radiusPx).toBeCloseTo(plain.radiusPx, 4);
});

test('no light, no limb', () => {
  expect(findShownLimb(createPlane(64, 64))).toBeNull();
});
