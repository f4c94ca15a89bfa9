import { describe, expect, it } from 'vitest';
import { translation } from '../compute/affine.js';
import type { BendGrid } from '../compute/bend-grid.js';
import { createFloatPool } from '../compute/float-pool.js';
import { gaussianBlur } from '../compute/gaussian.js';
import { createPlane } from '../compute/image.js';
import { withKernels } from '../compute/kernels.js';
import { createRandom } from '../compute/random.js';
import { cubicAt } from '../compute/sample.js';
import { createField } from './seeing-field.js';
import { createModel, type ModelFrame, type ModelSums, othersInFrame, stackRows } from './track-model.js';

function frameOf(seed: string, x: number, y: number, weight = 1): ModelFrame {
  const random = createRandom(seed);
  const detail = createPlane(96, 64);
  detail.data.forEach((_, i) => {
    detail.data[i] = random.normal();
  });
  return { detail: gaussianBlur(detail, 1), pose: translation(x, y), weight };
}

function stacked(frames: readonly ModelFrame[]) {
  const model = createModel(frames, createFloatPool());
  stackRows(model, frames, 0, model.height);
  return model;
}

describe('the model of a pass', () => {
  const frames = [frameOf('a', 0, 0), frameOf('b', 10.3, 1.2), frameOf('c', 21.7, -2.4, 0.5)];

  it('holds the same sums however its rows are shared out', () => {
    const whole = stacked(frames);
    const parts = createModel(frames, createFloatPool());
    for (let row = parts.height - 7; row > -7; row -= 7) {
      stackRows(parts, frames, Math.max(0, row), Math.min(parts.height, row + 7));
    }
    expect(parts.planes).toEqual(whole.planes);
    expect(parts.weight).toEqual(whole.weight);
  });

  it('without a frame is what the others alone give, seen by that frame', () => {
    const all = seen(stacked(frames), frames[1]!)!;
    const alone = seen(stacked([frames[0]!, frames[2]!]), { ...frames[1]!, weight: 0 })!;
    let compared = 0;
    let own = 0;
    let square = 0;
    all.share.forEach((share, k) => {
      if (share === 0 || alone.share[k] === 0) return;
      square += (all.fixed[k]! - alone.fixed[k]!) ** 2;
      expect(alone.share[k]).toBeCloseTo(1, 5);
      expect(share).toBeGreaterThan(0.1);
      // Where the frame itself does not count, near its border, all others are the whole model.
      expect(share).toBeLessThanOrEqual(1);
      own += share < 0.9 ? 1 : 0;
      compared++;
    });
    expect(compared).toBeGreaterThan(3000);
    expect(own).toBeGreaterThan(2500);
    // Detail of rms 0.28, blurred by a px, goes on the strip and back by Lanczos's kernel: 0.007 measured.
    expect(Math.sqrt(square / compared)).toBeLessThan(0.01);
  });

  it('gives back a frame that all others are', () => {
    const same = [frames[0]!, frames[0]!, frames[0]!];
    const { fixed, share, moving } = seen(stacked(same), same[0]!)!;
    let compared = 0;
    share.forEach((part, k) => {
      if (part === 0) return;
      expect(part).toBeCloseTo(2 / 3, 5);
      expect(Math.abs(fixed[k]! - moving[k]!)).toBeLessThan(1e-5);
      compared++;
    });
    expect(compared).toBeGreaterThan(3000);
  });

  it('is seen through the bend that the frame was stacked with', () => {
    const [still, bent] = [frameOf('a', 0, 0), frameOf('a', 0, 0)];
    const field = createField(96, 64, 16);
    field.x.fill(0.4);
    field.y.fill(-0.3);
    const { fixed, share, moving } = seen(stacked([still, still]), { ...bent, weight: 0 }, field)!;
    let compared = 0;
    for (let y = 10; y < 54; y++) {
      for (let x = 10; x < 86; x++) {
        if (share[y * 96 + x] === 0) continue;
        const there = cubicAt(moving, 96, 64, x + 0.4, y - 0.3);
        // Cubic convolution softens detail of a px, whose largest values are near 1.
        expect(Math.abs(fixed[y * 96 + x]! - there)).toBeLessThan(0.1);
        compared++;
      }
    }
    expect(compared).toBeGreaterThan(3000);
  });

  it('covers nothing where no other frame lies', () => {
    const far = [frameOf('a', 0, 0), frameOf('b', 200, 0)];
    expect(seen(stacked(far), far[0]!)!.share.every((v) => v === 0)).toBe(true);
  });

  it('says nothing of a frame that lies off it', () => {
    expect(seen(stacked(frames), { ...frames[0]!, pose: translation(-900, 0), weight: 0 })).toBeUndefined();
  });
});

function seen(model: ModelSums, frame: ModelFrame, field?: BendGrid) {
  return withKernels((scope) => {
    const others = othersInFrame(scope, model, frame, field);
    return (
      others && { fixed: scope.get(others.fixed), share: scope.get(others.share), moving: scope.get(others.moving) }
    );
  });
}
