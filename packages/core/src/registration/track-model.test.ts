import { describe, expect, it } from 'vitest';
import { translation } from '../compute/affine.js';
import { createPlane } from '../compute/image.js';
import { createRandom } from '../compute/random.js';
import { createModel, type ModelFrame, modelOfOthers, stackRows } from './track-model.js';

function frameOf(seed: string, x: number, y: number, weight = 1): ModelFrame {
  const random = createRandom(seed);
  const detail = createPlane(96, 64);
  detail.data.forEach((_, i) => {
    detail.data[i] = random.normal();
  });
  return { detail, pose: translation(x, y), weight };
}

function stacked(frames: readonly ModelFrame[]) {
  const model = createModel(frames);
  stackRows(model, frames, 0, model.height);
  return model;
}

describe('the model of a pass', () => {
  const frames = [frameOf('a', 0, 0), frameOf('b', 10.3, 1.2), frameOf('c', 21.7, -2.4, 0.5)];

  it('holds the same sums however its rows are shared out', () => {
    const whole = stacked(frames);
    const parts = createModel(frames);
    for (let row = parts.height - 7; row > -7; row -= 7) {
      stackRows(parts, frames, Math.max(0, row), Math.min(parts.height, row + 7));
    }
    expect(parts.planes).toEqual(whole.planes);
    expect(parts.weight).toEqual(whole.weight);
  });

  it('without a frame is the model that the others alone give', () => {
    const all = stacked(frames);
    const others = modelOfOthers(all, frames[1]!)!;
    const alone = stacked([frames[0]!, frames[2]!]);
    let compared = 0;
    for (let y = 0; y < others.detail.height; y++) {
      for (let x = 0; x < others.detail.width; x++) {
        const k = y * others.detail.width + x;
        if (others.coverage.data[k] === 0) continue;
        const i = (y + others.y0 - alone.y0) * alone.width + x + others.x0 - alone.x0;
        // Single-precision sums of three values.
        expect(Math.abs(others.detail.data[k]! - alone.planes[0]![i]! / alone.weight[i]!)).toBeLessThan(1e-5);
        const j = (y + others.y0 - all.y0) * all.width + x + others.x0 - all.x0;
        expect(others.share.data[k]).toBeCloseTo(alone.weight[i]! / all.weight[j]!, 5);
        compared++;
      }
    }
    expect(compared).toBeGreaterThan(3000);
  });

  it('covers nothing where no other frame lies', () => {
    const far = [frameOf('a', 0, 0), frameOf('b', 200, 0)];
    expect(modelOfOthers(stacked(far), far[0]!)!.coverage.data.every((v) => v === 0)).toBe(true);
  });

  it('says nothing of a frame that lies off it', () => {
    expect(modelOfOthers(stacked(frames), { ...frames[0]!, pose: translation(-900, 0), weight: 0 })).toBeUndefined();
  });
});
