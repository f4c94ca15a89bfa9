import { expect, it, describe as suite } from 'vitest';
import { DESCRIPTOR_LENGTH, describe } from './descriptor.js';
import { gaussianBlur } from './gaussian.js';
import { createPlane, type Plane } from './image.js';
import { findKeypoints } from './keypoints.js';
import { createRandom } from './random.js';

const SIDE = 121;

function ground(): Plane {
  const random = createRandom('descriptor');
  const plane = createPlane(SIDE, SIDE);
  for (let i = 0; i < plane.data.length; i++) plane.data[i] = random.normal();
  const smooth = gaussianBlur(plane, 3);
  for (let i = 0; i < smooth.data.length; i++) smooth.data[i] = 0.5 + smooth.data[i]!;
  return smooth;
}

/** A quarter-turn clockwise on the screen: (x, y) comes to lie at (SIDE − 1 − y, x). */
function turned(plane: Plane): Plane {
  const out = createPlane(SIDE, SIDE);
  for (let y = 0; y < SIDE; y++)
    for (let x = 0; x < SIDE; x++) out.data[x * SIDE + SIDE - 1 - y] = plane.data[y * SIDE + x]!;
  return out;
}

suite('describe', () => {
  it('turns with the picture: the same values, the direction a quarter-turn on', () => {
    // In the first octave no row is left out, so that a quarter-turn of the picture is one of every step.
    const before = findKeypoints(ground(), 400).filter((k) => k.level.width === SIDE);
    const after = findKeypoints(turned(ground()), 400).filter((k) => k.level.width === SIDE);
    expect(before.length).toBeGreaterThan(30);
    for (const keypoint of before) {
      const partner = after.find((k) => Math.hypot(k.x - (SIDE - 1 - keypoint.y), k.y - keypoint.x) < 1e-3)!;
      for (const [i, d] of describe(keypoint).entries()) {
        // Rounding may change the order of the two directions of one keypoint, not what they are.
        const turns = describe(partner).map((e) => ({ e, turn: (e.angleRad - d.angleRad) / (2 * Math.PI) - 0.25 }));
        const same = turns.find(({ turn }) => Math.abs(turn - Math.round(turn)) < 1e-3);
        expect(same, `direction ${i}`).toBeDefined();
        for (let k = 0; k < DESCRIPTOR_LENGTH; k++) expect(same!.e.values[k]).toBeCloseTo(d.values[k]!, 3);
      }
    }
  });

  it('is of length 1 and does not change with gain and offset', () => {
    const plane = ground();
    const dimmed = createPlane(SIDE, SIDE);
    for (let i = 0; i < plane.data.length; i++) dimmed.data[i] = 0.2 + 0.5 * plane.data[i]!;
    const [keypoint] = findKeypoints(plane, 1);
    const [other] = findKeypoints(dimmed, 1);
    const [a] = describe(keypoint!);
    const [b] = describe(other!);
    expect(Math.hypot(...a!.values)).toBeCloseTo(1, 6);
    expect(a).toMatchObject({ x: keypoint!.x, y: keypoint!.y, sigmaPx: keypoint!.sigmaPx });
    for (let k = 0; k < DESCRIPTOR_LENGTH; k++) expect(b!.values[k]).toBeCloseTo(a!.values[k]!, 3);
  });
});
