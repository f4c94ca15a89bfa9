import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { plainWarp } from '../../test/plain-kernels.js';
import { type Affine, applyX, applyY, compose, IDENTITY, invert, poseAbout, translation } from './affine.js';
import { createPlane, type Plane } from './image.js';
import { resampleWithKernels } from './kernels-resample.js';
import { LANCZOS_PHASES, LANCZOS_WEIGHTS } from './lanczos.js';
import { createRandom } from './random.js';

function noise(width: number, height: number, seed: number): Plane {
  const random = createRandom(seed);
  const plane = createPlane(width, height);
  for (let i = 0; i < plane.data.length; i++) plane.data[i] = random.normal();
  return plane;
}

function worst(a: Float32Array, b: Float32Array): number {
  expect(a.length).toBe(b.length);
  let most = 0;
  for (let i = 0; i < a.length; i++) most = Math.max(most, Math.abs(a[i]! - b[i]!));
  return most;
}

const size = fc.integer({ min: 1, max: 50 });
const shift = fc.double({ min: -12, max: 12, noNaN: true });
const pose = fc.oneof(
  fc.tuple(shift, shift).map(([x, y]) => translation(x, y)),
  fc
    .tuple(
      shift,
      shift,
      fc.double({ min: -180, max: 180, noNaN: true }),
      fc.double({ min: 0.7, max: 1.4, noNaN: true }),
    )
    .map(([shiftX, shiftY, rotationDeg, scale]) => poseAbout({ x: 20, y: 15 }, { shiftX, shiftY, rotationDeg, scale })),
);

describe('cubic', () => {
  test('agrees with plainWarp for any size and pose, borders included', () => {
    fc.assert(
      fc.property(size, size, size, size, pose, fc.integer(), (w, h, width, height, map, seed) => {
        const source = noise(w, h, seed);
        const ours = resampleWithKernels(source, map, width, height);
        const plain = plainWarp(source, map, width, height);
        expect(ours.coverage.data).toEqual(plain.coverage.data);
        // Sums of 16 products of values up to 5 in float32.
        expect(worst(ours.plane.data, plain.plane.data)).toBeLessThan(4e-6);
      }),
      { seed: 7, numRuns: 150 },
    );
  });

  test('gives the picture back to the bit under the identity, whole pixels and four quarter turns', () => {
    const source = noise(64, 64, 1);
    expect(resampleWithKernels(source, IDENTITY, 64, 64).plane.data).toEqual(source.data);
    const moved = resampleWithKernels(source, translation(5, -3), 64, 64).plane;
    expect(moved.data[10 * 64 + 20]).toBe(source.data[13 * 64 + 15]);
    const turn = compose(translation(63, 0), { xx: 0, xy: -1, yx: 1, yy: 0, tx: 0, ty: 0 });
    let turned = source;
    for (let k = 0; k < 4; k++) turned = resampleWithKernels(turned, turn, 64, 64).plane;
    expect(turned.data).toEqual(source.data);
  });
});

describe('lanczos', () => {
  /** The value by the table, and whether all taps exist. */
  const plain = (source: Plane, x: number, y: number): number | undefined => {
    if (!(x > 2 && y > 2 && x < source.width - 3 && y < source.height - 3)) return undefined;
    const px = 6 * Math.round((x - Math.floor(x)) * LANCZOS_PHASES);
    const py = 6 * Math.round((y - Math.floor(y)) * LANCZOS_PHASES);
    let sum = 0;
    for (let j = 0; j < 6; j++) {
      for (let i = 0; i < 6; i++) {
        const at = (Math.floor(y) - 2 + j) * source.width + Math.floor(x) - 2 + i;
        sum += LANCZOS_WEIGHTS[py + j]! * LANCZOS_WEIGHTS[px + i]! * source.data[at]!;
      }
    }
    return sum;
  };

  test('agrees with the sums written out for any size and pose', () => {
    fc.assert(
      fc.property(size, size, size, size, pose, fc.integer(), (w, h, width, height, map, seed) => {
        const source = noise(w, h, seed);
        const { plane, coverage } = resampleWithKernels(source, map, width, height, { kernel: 'lanczos' });
        const back = invert(map);
        const faults: number[] = [];
        for (let i = 0; i < width * height; i++) {
          const [x, y] = [i % width, Math.floor(i / width)];
          const value = plain(source, applyX(back, x, y), applyY(back, x, y));
          // A position at the middle between two entries of the table may round either way: not met with these seeds.
          const agrees = Math.abs(plane.data[i]! - (value ?? 0)) < (value === undefined ? 1e-30 : 5e-6);
          if (coverage.data[i] !== (value === undefined ? 0 : 1) || !agrees) faults.push(i);
        }
        expect(faults).toEqual([]);
      }),
      { seed: 11, numRuns: 60 },
    );
  });
});

/** Whole sixteenths, so that no position lies within rounding of a whole number without being one. */
const sixteenths = fc.tuple(fc.integer({ min: -190, max: 190 }), fc.integer({ min: -190, max: 190 }));
const safePose = fc.oneof(
  sixteenths.map(([x, y]) => translation(x / 16, y / 16)),
  sixteenths.map(([x, y]) =>
    poseAbout({ x: 20, y: 15 }, { shiftX: x / 16, shiftY: y / 16, rotationDeg: x / 3, scale: 1.1 }),
  ),
);

describe('mask', () => {
  test.each(['cubic', 'lanczos'] as const)('%s reads nothing that is left out, NaN or not', (kernel) => {
    fc.assert(
      fc.property(safePose, fc.integer(), (map, seed) => {
        const source = noise(45, 33, seed);
        const random = createRandom(seed);
        const mask = new Float32Array(45 * 33).fill(1);
        for (let k = 0; k < 12; k++) mask[Math.floor(random.uniform() * mask.length)] = 0;
        const holed = { ...source, data: source.data.map((v, i) => (mask[i]! > 0 ? v : Number.NaN)) };
        const masked = resampleWithKernels(holed, map, 40, 30, { kernel, mask });
        const whole = resampleWithKernels(source, map, 40, 30, { kernel });
        // Where a hole is near, the value that NaN reaches is left out; elsewhere all is as without a mask.
        const reached = resampleWithKernels(holed, map, 40, 30, { kernel });
        const faults: number[] = [];
        for (let i = 0; i < masked.plane.data.length; i++) {
          const clean = whole.coverage.data[i] === 1 && !Number.isNaN(reached.plane.data[i]!);
          const value = clean ? whole.plane.data[i]! : 0;
          const agrees = Math.abs(masked.plane.data[i]! - value) < (clean ? 4e-6 : 1e-30);
          if (masked.coverage.data[i] !== (clean ? 1 : 0) || !agrees) faults.push(i);
        }
        expect(faults).toEqual([]);
      }),
      { seed: 7, numRuns: 40 },
    );
  });
});

test('a degenerate pose is refused', () => {
  expect(() => resampleWithKernels(noise(8, 8, 1), { ...IDENTITY, xx: 0 } as Affine, 8, 8)).toThrow(RangeError);
});
