import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { applyX, applyY, invert, onFinerGrid, poseAbout, translation } from '../compute/affine.js';
import { bendAt } from '../compute/bend-grid.js';
import { bilinearAt } from '../compute/sample.js';
import { bendOnPlate, createField, type SeeingField, seenAt } from './seeing-field.js';

/** A smooth bend of up to 1 px. */
function wavy(widthPx: number, heightPx: number): SeeingField {
  const field = createField(widthPx, heightPx, 16);
  for (let r = 0; r < field.rows; r++) {
    for (let c = 0; c < field.columns; c++) {
      field.x[r * field.columns + c] = Math.sin(c / 3 + r / 5);
      field.y[r * field.columns + c] = Math.cos(c / 4 - r / 3);
    }
  }
  return field;
}

describe('a seeing field', () => {
  const field = wavy(320, 240);

  it('is undone where it is seen', () => {
    fc.assert(
      fc.property(
        fc.double({ min: 5, max: 314, noNaN: true }),
        fc.double({ min: 5, max: 234, noNaN: true }),
        (x, y) => {
          const [u, v] = seenAt(field, x, y);
          const [bx, by] = bendAt(field, u, v);
          expect(Math.hypot(u + bx - x, v + by - y)).toBeLessThan(2e-3);
        },
      ),
      { seed: 5, numRuns: 200 },
    );
  });

  it.each([1, 3])('leads the plate to where the frame shows it, frames %i times finer than the field', (bin) => {
    const onProxy = poseAbout({ x: 160, y: 120 }, { shiftX: 400.3, shiftY: -31.7, rotationDeg: 25, squeeze: 1.01 });
    const pose = onFinerGrid(onProxy, bin);
    const bend = bendOnPlate(field, pose, 320 * bin, 240 * bin, bin);
    const back = invert(pose);
    const size = bend.columns * bend.rows;
    for (const [r, c] of [
      [bend.rows >> 1, bend.columns >> 1],
      [bend.rows >> 1, bend.columns >> 2],
    ] as const) {
      const x = bend.x0 + c * bend.stepPx;
      const y = bend.y0 + r * bend.stepPx;
      const i = r * bend.columns + c;
      // Where the frame is looked at, on the proxy, with the bend added, is where the pose alone has the plate's pixel.
      const offset = (bin - 1) / 2;
      const u = (applyX(back, x, y) + bend.knots[i]! - offset) / bin;
      const v = (applyY(back, x, y) + bend.knots[size + i]! - offset) / bin;
      const [bx, by] = bendAt(field, u, v);
      expect(applyX(onProxy, u + bx, v + by)).toBeCloseTo((x - offset) / bin, 2);
      expect(applyY(onProxy, u + bx, v + by)).toBeCloseTo((y - offset) / bin, 2);
    }
  });

  it('moves the whole pass by what joins it', () => {
    const still = createField(320, 240, 16);
    const bend = bendOnPlate(still, translation(10, 20), 320, 240, 1, () => [0.5, -0.25]);
    const size = bend.columns * bend.rows;
    expect(bilinearAt(bend.knots.subarray(0, size), bend.columns, bend.rows, 5, 5)).toBeCloseTo(-0.5, 6);
    expect(bilinearAt(bend.knots.subarray(size, 2 * size), bend.columns, bend.rows, 5, 5)).toBeCloseTo(0.25, 6);
  });
});
