import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { plainAccumulate } from '../../test/plain-accumulate.js';
import type { AccumulateInput } from '../strip/accumulate.js';
import { invert, poseAbout, translation } from './affine.js';
import { createFloats } from './image.js';
import { accumulateWithKernels, type Bend } from './kernels-accumulate.js';
import { createRandom } from './random.js';

function inputOf(seed: number, channels: number, plateToFrame: AccumulateInput['plateToFrame']): AccumulateInput {
  const random = createRandom(seed);
  const plane = (n: number): Float32Array => createFloats(n, true).map(() => random.uniform());
  return {
    sums: {
      width: 90,
      height: 150,
      x0: -20,
      y0: 13,
      planes: Array.from({ length: channels }, () => plane(90 * 150)),
      weight: plane(90 * 150),
    },
    rows: [0, 150],
    frame: { width: 61, height: 83, planes: Array.from({ length: channels }, () => plane(61 * 83)) },
    plateToFrame,
    frameWeight: 1.7,
    featherPx: 9,
  };
}

function copyOf(input: AccumulateInput): AccumulateInput {
  const { sums } = input;
  return { ...input, sums: { ...sums, planes: sums.planes.map((p) => p.slice()), weight: sums.weight.slice() } };
}

function worst(a: AccumulateInput, b: AccumulateInput): number {
  let most = 0;
  for (const [c, plane] of [...a.sums.planes, a.sums.weight].entries()) {
    const other = [...b.sums.planes, b.sums.weight][c]!;
    for (let i = 0; i < plane.length; i++) most = Math.max(most, Math.abs(plane[i]! - other[i]!));
  }
  return most;
}

function worstWeight(a: AccumulateInput, b: AccumulateInput): number {
  return a.sums.weight.reduce((most, w, i) => Math.max(most, Math.abs(w - b.sums.weight[i]!)), 0);
}

const shift = fc.double({ min: -60, max: 60, noNaN: true });
const back = fc.oneof(
  fc.tuple(shift, shift).map(([x, y]) => translation(x, y)),
  fc
    .tuple(shift, shift, fc.double({ min: -30, max: 30, noNaN: true }), fc.double({ min: 0.8, max: 1.2, noNaN: true }))
    .map(([shiftX, shiftY, rotationDeg, scale]) =>
      invert(poseAbout({ x: 30, y: 40 }, { shiftX, shiftY, rotationDeg, scale })),
    ),
);

/** A bend of some px, with shares of the weight when there are three planes, that may leave part of the strip untold. */
function bendOf(seed: number, planes: 2 | 3 = 2): Bend {
  const random = createRandom(seed);
  const [columns, rows] = [9, 16];
  const size = columns * rows;
  const knots = Float32Array.from({ length: planes * size }, (_, i) => (i < 2 * size ? 4 : 1) * random.uniform());
  return { x0: -24, y0: 11, stepPx: 10, columns, rows, knots };
}

describe('accumulateWithKernels', () => {
  test('adds what the plain loop adds under any bend, cut or whole', () => {
    fc.assert(
      fc.property(back, fc.constantFrom(1, 3), fc.integer(), fc.integer({ min: 0, max: 150 }), (map, n, seed, cut) => {
        const plain = { ...inputOf(seed, n, map), bend: bendOf(seed), borderPx: 5 };
        const ours = { ...copyOf(plain), bend: plain.bend, borderPx: 5 };
        accumulateWithKernels({ ...ours, rows: [0, cut] });
        accumulateWithKernels({ ...ours, rows: [cut, 150] });
        plainAccumulate(plain);
        // Positions may round to the next entry of the table, 1/2048 px on, where light goes from 0 to 1 within a px.
        expect(worst(ours, plain)).toBeLessThan(5e-3);
        expect(worstWeight(ours, plain)).toBeLessThan(2e-6);
      }),
      { seed: 11, numRuns: 100 },
    );
  });

  test('weighs a frame from place to place, and reads each channel where it is told to', () => {
    const offsets = [
      [0.4, -0.3],
      [0, 0],
      [-0.7, 0.55],
    ] as const;
    fc.assert(
      fc.property(back, fc.integer(), fc.boolean(), (map, seed, isBent) => {
        const plain = { ...inputOf(seed, 3, map), offsets, ...(isBent && { bend: bendOf(seed, 3) }) };
        const ours = { ...copyOf(plain), offsets };
        accumulateWithKernels(ours);
        plainAccumulate(plain);
        expect(worst(ours, plain)).toBeLessThan(5e-3);
        expect(worstWeight(ours, plain)).toBeLessThan(2e-6);
      }),
      { seed: 13, numRuns: 60 },
    );
  });

  test('gives the same bits for any cut into parts, rows and columns', () => {
    const map = invert(poseAbout({ x: 30, y: 40 }, { shiftX: 3.3, shiftY: 40.7, rotationDeg: 1 }));
    for (const extra of [{}, { bend: bendOf(2, 3) }]) {
      const whole = { ...inputOf(3, 1, map), ...extra };
      const before = copyOf(whole);
      accumulateWithKernels(whole);
      for (let y = 0; y < 150; y += 37) {
        for (let x = 0; x < 90; x += 23) {
          const [width, height] = [Math.min(23, 90 - x), Math.min(37, 150 - y)];
          const part = before.sums.weight.subarray(0, width * height).slice();
          const cut = (from: Float32Array): Float32Array =>
            part.map((_, i) => from[(y + Math.floor(i / width)) * 90 + x + (i % width)]!);
          const planes = before.sums.planes.map(cut);
          const weight = cut(before.sums.weight);
          const sums = { width, height, x0: before.sums.x0 + x, y0: before.sums.y0 + y, planes, weight };
          accumulateWithKernels({ ...before, ...extra, sums, rows: [0, height] });
          expect(planes).toEqual(whole.sums.planes.map(cut));
          expect(weight).toEqual(cut(whole.sums.weight));
        }
      }
    }
  });

  test('an even bend of whole pixels is a shift', () => {
    const map = translation(-10.25, -30.5);
    const shifted = inputOf(5, 3, translation(-7.25, -32.5));
    const ours = copyOf(shifted);
    const size = 12 * 17;
    const knots = Float32Array.from({ length: 2 * size }, (_, i) => (i < size ? 3 : -2));
    accumulateWithKernels(shifted);
    accumulateWithKernels({
      ...ours,
      plateToFrame: map,
      bend: { x0: -20, y0: 13, stepPx: 10, columns: 12, rows: 17, knots },
    });
    expect(worst(shifted, ours)).toBeLessThan(3e-7);
  });

  test('adds what the plain loop adds, for any pose, one channel or three, whole or by rows', () => {
    fc.assert(
      fc.property(back, fc.constantFrom(1, 3), fc.integer(), fc.integer({ min: 0, max: 150 }), (map, n, seed, cut) => {
        const plain = inputOf(seed, n, map);
        const ours = copyOf(plain);
        accumulateWithKernels({ ...ours, rows: [0, cut] });
        accumulateWithKernels({ ...ours, rows: [cut, 150] });
        plainAccumulate(plain);
        // Sums up to 3 in float32, weights rounded to float32 before they multiply.
        expect(worst(ours, plain)).toBeLessThan(2e-6);
      }),
      { seed: 7, numRuns: 100 },
    );
  });

  test('gives the same bits for any cut of the rows', () => {
    const map = invert(poseAbout({ x: 30, y: 40 }, { shiftX: 3.3, shiftY: 40.7, rotationDeg: 1 }));
    const whole = inputOf(3, 3, map);
    const parts = copyOf(whole);
    accumulateWithKernels(whole);
    for (let row = 0; row < 150; row += 11) accumulateWithKernels({ ...parts, rows: [row, Math.min(150, row + 11)] });
    expect(worst(whole, parts)).toBe(0);
  });

  test('a frame of ones leaves light equal to weight, and touches nothing outside', () => {
    const input = inputOf(4, 1, translation(-10, -30));
    const { sums, frame } = input;
    frame.planes[0]!.fill(1);
    sums.planes[0]!.fill(0);
    sums.weight.fill(0);
    accumulateWithKernels(input);
    let added = 0;
    for (let i = 0; i < sums.weight.length; i++) {
      expect(Math.abs(sums.planes[0]![i]! - sums.weight[i]!)).toBeLessThan(5e-7);
      if (sums.weight[i]! > 0) added++;
    }
    // Frame px 2 < x < 58 and 2 < y < 80.
    expect(added).toBe(55 * 77);
  });
});
