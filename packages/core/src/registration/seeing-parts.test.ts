import { describe, expect, it } from 'vitest';
import { poseAbout } from '../compute/affine.js';
import { bendAt, bendRms } from '../compute/bend-grid.js';
import type { Residuals } from '../compute/bend-spread.js';
import { createRandom } from '../compute/random.js';
import { createField, type SeeingField } from './seeing-field.js';
import { removeMean } from './seeing-mean.js';
import { withoutOutliers } from './seeing-outliers.js';
import { smoothField } from './seeing-smooth.js';

const wave = (x: number, y: number) => [0.6 * Math.sin(x / 50 + y / 90), 0.5 * Math.cos(y / 60 - x / 80)] as const;

function patches(seed: number, noise: number, stepPx = 40): Residuals {
  const random = createRandom(seed);
  return Array.from({ length: 12 * 9 }, (_, i) => {
    const [x, y] = [30 + stepPx * (i % 12), 30 + stepPx * Math.floor(i / 12)];
    const [dx, dy] = wave(x, y);
    return { x, y, dx: dx + noise * random.normal(), dy: dy + noise * random.normal(), variance: noise ** 2 };
  });
}

describe('smoothField', () => {
  const spread = { parts: [{ sigmaPx: 48, variance: 0.15 }], noiseScale: 1 };

  it('comes nearer to the bend than the noisy patches do, between them too', () => {
    const field = createField(500, 380, 16);
    smoothField(patches(1, 0.1), spread, field);
    let sum = 0;
    let count = 0;
    for (let y = 60; y < 340; y += 13) {
      for (let x = 60; x < 440; x += 13) {
        const [ax, ay] = bendAt(field, x, y);
        const [bx, by] = wave(x, y);
        sum += (ax - bx) ** 2 + (ay - by) ** 2;
        count += 2;
      }
    }
    expect(Math.sqrt(sum / count)).toBeLessThan(0.08);
  });

  it('says nothing far from all patches, and without any', () => {
    const field = createField(1200, 380, 16);
    smoothField(patches(1, 0.1), spread, field);
    expect(Math.hypot(...bendAt(field, 1100, 200))).toBeLessThan(1e-6);
    smoothField([], spread, field);
    expect(bendRms([field])).toBe(0);
  });
});

describe('withoutOutliers', () => {
  it('leaves out what does not move with its neighbours, and only that', () => {
    const good = patches(2, 0.05);
    const bad = new Set([14, 40, 77, 100]);
    const led = good.map((p, i) => (bad.has(i) ? { ...p, dx: p.dx + 3, dy: p.dy - 2 } : p));
    const [kept] = withoutOutliers([led, patches(3, 0.05)], 40);
    expect(kept).toEqual(good.filter((_, i) => !bad.has(i)));
  });

  it('keeps patches that have too few neighbours to be judged by', () => {
    const far = [0, 500, 1000].map((x) => ({ x, y: 0, dx: x / 200, dy: 0, variance: 0.01 }));
    expect(withoutOutliers([far], 40)).toEqual([far]);
  });
});

describe('removeMean', () => {
  const poses = Array.from({ length: 6 }, (_, k) =>
    poseAbout({ x: 160, y: 120 }, { shiftX: 30 * k, shiftY: 2 * k, rotationDeg: 0.1 * k }),
  );
  const framesOf = (fields: readonly SeeingField[]) =>
    poses.map((pose, k) => ({ pose, widthPx: 320, heightPx: 240, field: fields[k]! }));

  it('takes out what all frames show of the same ground, and leaves the rest', () => {
    const own = poses.map((_, k) => {
      const field = createField(320, 240, 16);
      field.x.fill(k % 2 === 0 ? 0.4 : -0.4);
      return field;
    });
    const both = own.map((field, k) => {
      const sum = createField(320, 240, 16);
      sum.x.forEach((_, i) => {
        const [x, y] = [16 * (i % sum.columns), 16 * Math.floor(i / sum.columns)];
        const { xx, xy, yx, yy, tx, ty } = poses[k]!;
        const [gx, gy] = wave(xx * x + xy * y + tx, yx * x + yy * y + ty);
        sum.x[i] = field.x[i]! + gx;
        sum.y[i] = gy;
      });
      return sum;
    });
    removeMean(framesOf(own));
    removeMean(framesOf(both));
    both.forEach((field, k) => {
      for (const [x, y] of [
        [100, 80],
        [160, 120],
        [220, 200],
      ] as const) {
        const [ax, ay] = bendAt(field, x, y);
        const [bx, by] = bendAt(own[k]!, x, y);
        // Ground that bends by 0.012 px a px is looked at up to 1 px beside.
        expect(Math.hypot(ax - bx, ay - by)).toBeLessThan(0.03);
      }
    });
  });

  it('leaves a pass whose bends have no common part as it is', () => {
    const fields = poses.map((_, k) => {
      const field = createField(320, 240, 16);
      field.y.fill(k % 2 === 0 ? 0.3 : -0.3);
      return field;
    });
    removeMean(framesOf(fields));
    const [, middle] = bendAt(fields[2]!, 160, 120);
    expect(Math.abs(middle - 0.3)).toBeLessThan(0.05);
  });
});
