import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { pairBlocks } from '../../test/plain-pair-sums.js';
import { TAP_STEPS, tapTable } from '../registration/pair-taps.js';
import { type Affine, poseAbout, translation } from './affine.js';
import { withKernels } from './kernels.js';
import { blockSums, SUMS_PER_BLOCK, type SumsPicture } from './kernels-pair-sums.js';
import { createRandom } from './random.js';

const TAPS = { weights: tapTable(), steps: TAP_STEPS };

interface Picture extends SumsPicture {
  readonly data: Float32Array;
  readonly variance?: Float32Array;
}

/** Smooth ground with noise; a variance with pixels that must not count when asked. */
function picture(width: number, height: number, seed: number, withVariance: boolean): Picture {
  const random = createRandom(seed);
  const data = new Float32Array(width * height);
  for (let i = 0; i < data.length; i++) {
    const [x, y] = [i % width, Math.floor(i / width)];
    data[i] = 0.4 + 0.2 * Math.sin(0.31 * x + 0.1 * y) * Math.cos(0.23 * y) + 0.02 * random.normal();
  }
  if (!withVariance) return { width, height, data };
  const variance = data.map(() => (random.uniform() < 0.1 ? Infinity : 0.5 + random.uniform()));
  return { width, height, data, variance };
}

const size = fc.integer({ min: 12, max: 90 });
const shift = fc.double({ min: -9, max: 9, noNaN: true });
const inverse = fc.oneof(
  fc.tuple(shift, shift).map(([x, y]) => translation(x, y)),
  fc
    .tuple(shift, shift, fc.double({ min: -25, max: 25, noNaN: true }), fc.double({ min: 0.8, max: 1.2, noNaN: true }))
    .map(
      ([shiftX, shiftY, rotationDeg, scale]): Affine =>
        poseAbout({ x: 30, y: 30 }, { shiftX, shiftY, rotationDeg, scale, squeeze: 1.02 }),
    ),
);

describe('blockSums', () => {
  test('agrees with the plain sums, for any size, pose, block and variance', () => {
    fc.assert(
      fc.property(
        fc.tuple(size, size, size, size),
        inverse,
        fc.constantFrom(8, 16, 32, 33),
        fc.integer(),
        fc.tuple(fc.boolean(), fc.boolean()),
        ([w, h, mw, mh], map, sidePx, seed, [one, other]) => {
          const a = picture(w, h, seed, one);
          const b = picture(mw, mh, seed + 1, other);
          const plain = pairBlocks(a, b, map, 1.1, -0.02, sidePx);
          const ours = blockSums(a, b, map, 1.1, -0.02, sidePx, TAPS);
          expect([ours.columns, ours.rows]).toEqual([plain.columns, plain.rows]);
          for (let i = 0; i < plain.sums.length; i++) {
            // Terms of order 1 at most, weights up to 4/3: 1e-7 each, over the weight of the block.
            const scale = 1 + plain.sums[i - (i % SUMS_PER_BLOCK)]!;
            expect(Math.abs(ours.sums[i]! - plain.sums[i]!) / scale).toBeLessThan(4e-7);
          }
        },
      ),
      { seed: 7, numRuns: 120 },
    );
  });

  test('gives the same bits again, held or not', () => {
    const a = picture(83, 61, 3, true);
    const b = picture(70, 66, 4, true);
    const map = poseAbout({ x: 40, y: 30 }, { shiftX: 1.3, shiftY: -2.2, rotationDeg: 3 });
    const once = blockSums(a, b, map, 1, 0, 16, TAPS).sums;
    expect(blockSums(a, b, map, 1, 0, 16, TAPS).sums).toEqual(once);
    const held = withKernels((scope) => {
      const [p, q] = [a, b].map((v) => ({ ...v, data: scope.put(v.data), variance: scope.put(v.variance!) }));
      blockSums(p!, q!, map, 1.2, 0, 16, TAPS);
      return blockSums(p!, q!, map, 1, 0, 16, TAPS).sums;
    });
    expect(held).toEqual(once);
  });

  test('NaN where nothing counts does no harm', () => {
    const a = picture(60, 60, 5, false);
    const b = picture(60, 60, 6, false);
    const variance = new Float32Array(3600).fill(1);
    const holed = a.data.slice();
    for (let y = 0; y < 60; y++) {
      for (let x = 0; x < 60; x++) {
        if (Math.hypot(x - 30, y - 28) < 9) variance[y * 60 + x] = Infinity;
        // Two pixels within: the derivatives of what counts do not reach it.
        if (Math.hypot(x - 30, y - 28) < 6) holed[y * 60 + x] = Number.NaN;
      }
    }
    const clean = blockSums({ ...a, variance }, b, translation(0.4, -0.3), 1, 0, 16, TAPS);
    const ours = blockSums({ ...a, data: holed, variance }, b, translation(0.4, -0.3), 1, 0, 16, TAPS);
    expect(ours.sums).toEqual(clean.sums);
    expect(clean.sums.every(Number.isFinite)).toBe(true);
  });
});
