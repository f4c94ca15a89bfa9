import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { plainGradient, plainPoseSums } from '../../test/plain-kernels.js';
import { type Affine, poseAbout, translation } from './affine.js';
import { createPlane, type Plane } from './image.js';
import { blurWithKernels } from './kernels-filter.js';
import { type PoseSumsInput, poseSums } from './kernels-pose-sums.js';
import { createRandom } from './random.js';
import { cubicAt } from './sample.js';
import { solveInPlace } from './small-solve.js';

function noise(width: number, height: number, seed: number): Plane {
  const random = createRandom(seed);
  const plane = createPlane(width, height);
  for (let i = 0; i < plane.data.length; i++) plane.data[i] = random.normal();
  return plane;
}

const size = fc.integer({ min: 4, max: 80 });
const shift = fc.double({ min: -15, max: 15, noNaN: true });
const pose = fc.oneof(
  fc.tuple(fc.integer({ min: -9, max: 9 }), fc.integer({ min: -9, max: 9 })).map(([x, y]) => translation(x, y)),
  fc.tuple(shift, shift).map(([x, y]) => translation(x, y)),
  fc
    .tuple(shift, shift, fc.double({ min: -40, max: 40, noNaN: true }), fc.double({ min: 0.7, max: 1.4, noNaN: true }))
    .map(
      ([shiftX, shiftY, rotationDeg, scale]): Affine =>
        poseAbout({ x: 30, y: 30 }, { shiftX, shiftY, rotationDeg, scale }),
    ),
);

function inputOf(
  [w, h, mw, mh]: readonly [number, number, number, number],
  map: Affine,
  parameters: 2 | 3 | 4 | 5,
  stridePx: number,
  seed: number,
  [holes, coverage, weight, isWindowed]: readonly [boolean, boolean, boolean, boolean],
): PoseSumsInput {
  const random = createRandom(seed);
  const mask = (n: number): Float32Array => new Float32Array(n).map(() => (random.uniform() < 0.05 ? 0 : 1));
  const fixed = noise(w, h, seed);
  const moving = noise(mw, mh, seed + 1);
  const { x, y } = plainGradient(fixed);
  return {
    fixed: { ...fixed, gradientX: x, gradientY: y, ...(holes ? { coverage: mask(w * h) } : {}) },
    moving: {
      ...moving,
      ...(coverage ? { coverage: mask(mw * mh) } : {}),
      ...(weight ? { weight: moving.data.map(() => random.uniform()) } : {}),
    },
    pose: map,
    stridePx,
    isWindowed,
    parameters,
    centre: { x: w / 2, y: h / 3 },
    reachPx: Math.hypot(w, h) / 2,
  };
}

describe('poseSums', () => {
  test('agrees with the sums written out, for any size, pose, stride, mask and number of parameters', () => {
    fc.assert(
      fc.property(
        fc.tuple(size, size, size, size),
        pose,
        fc.constantFrom<2 | 3 | 4 | 5>(2, 3, 4, 5),
        fc.integer({ min: 1, max: 3 }),
        fc.integer(),
        fc.tuple(fc.boolean(), fc.boolean(), fc.boolean(), fc.boolean()),
        (sizes4, map, parameters, stridePx, seed, planes) => {
          const input = inputOf(sizes4, map, parameters, stridePx, seed, planes);
          const { sums, sizes, count } = plainPoseSums(input);
          const ours = poseSums(input);
          expect(ours.samples).toBe(count);
          const n = parameters + 2;
          const faults: string[] = [];
          const check = (p: number, q: number, value: number): void => {
            const at = p * (n + 1) + q;
            // Float32 terms and sums over 16 of them: about 1e-6 of the sum of their sizes.
            if (!(Math.abs(value - sums[at]!) <= 2e-6 * (sizes[at]! + 1))) faults.push(`${p},${q}`);
          };
          for (let p = 0; p < n; p++) {
            for (let q = 0; q <= p; q++) check(p, q, ours.normal[q * n + p]!);
            check(n, p, -ours.right[p]!);
          }
          check(n, n, ours.fixedSquares);
          expect(faults).toEqual([]);
        },
      ),
      { seed: 7, numRuns: 200 },
    );
  });

  test('leads to the pose by Gauss–Newton, and tells the correlation', () => {
    const scene = blurWithKernels(noise(140, 120, 1), 2);
    const cut = (x0: number, y0: number): Plane => {
      const plane = createPlane(90, 80);
      for (let i = 0; i < plane.data.length; i++) {
        plane.data[i] = 1.5 * cubicAt(scene.data, 140, 120, x0 + (i % 90), y0 + Math.floor(i / 90)) + 0.25;
      }
      return plane;
    };
    const fixed = { ...cut(20, 15), ...(({ x, y }) => ({ gradientX: x, gradientY: y }))(plainGradient(cut(20, 15))) };
    let map = translation(0, 0);
    let correlation = 0;
    for (let k = 0; k < 10; k++) {
      const sums = poseSums({
        fixed,
        moving: cut(21.4, 14.2),
        pose: map,
        parameters: 2,
        centre: { x: 0, y: 0 },
        reachPx: 1,
      });
      expect(solveInPlace(sums.normal.slice(), sums.right, 4)).toBe(true);
      map = translation(map.tx + sums.right[0]!, map.ty + sums.right[1]!);
      correlation = sums.correlation;
    }
    // Both pictures went through the cubic kernel, whose error on ground of σ 2 px is below 0.005 px here.
    expect(Math.abs(map.tx - 1.4)).toBeLessThan(5e-3);
    expect(Math.abs(map.ty + 0.8)).toBeLessThan(5e-3);
    expect(correlation).toBeGreaterThan(0.999);
  });

  test('a box out of the picture is refused', () => {
    const input = inputOf([20, 20, 20, 20], translation(0, 0), 2, 1, 1, [false, false, false, false]);
    expect(() => poseSums({ ...input, box: { x0: -1, y0: 0, x1: 5, y1: 5 } })).toThrow('no sums over -1 … 5 x 0 … 5');
  });
});
