import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { pairBlocks } from '../../test/plain-pair-sums.js';
import { createSceneField, planeOf, poseDistancePx, renderFrame } from '../../test/scene-field.js';
import { compose, IDENTITY, poseAbout, translation } from '../compute/affine.js';
import { withKernels } from '../compute/kernels.js';
import { createRandom } from '../compute/random.js';
import { shiftBound } from './pair-bound.js';
import { eroded, pairPyramid } from './pair-levels.js';
import { overlapOf } from './pair-overlap.js';
import { patternShift } from './pair-pattern.js';
import { poseMap, posePartsOf } from './pair-pose.js';
import { solvePair } from './pair-solve.js';
import { tapEnergyAt, tapsAt } from './pair-taps.js';

describe('tapsAt', () => {
  it('is exact for lines and for waves of 0.12 and 0.24 cycles per pixel, and true to 1 % below 0.25', () => {
    const taps = new Float64Array(6);
    fc.assert(
      fc.property(
        fc.double({ min: 0, max: 0.999, noNaN: true }),
        fc.double({ min: 0, max: 0.25, noNaN: true }),
        (t, f) => {
          tapsAt(t, taps);
          const sum = (of: (x: number) => number): number => taps.reduce((s, v, k) => s + v * of(k - 2 - t), 0);
          // Straight lines between the 512 entries of the table leave 1e-5.
          expect(Math.abs(sum(() => 1) - 1)).toBeLessThan(1e-12);
          expect(Math.abs(sum((x) => x))).toBeLessThan(1e-4);
          for (const wave of [0.12, 0.24])
            expect(Math.abs(sum((x) => Math.cos(2 * Math.PI * wave * x)) - 1)).toBeLessThan(1e-4);
          expect(Math.abs(sum((x) => Math.cos(2 * Math.PI * f * x)) - 1)).toBeLessThan(0.01);
        },
      ),
      { seed: 3 },
    );
  });

  it('takes the sample itself on the grid', () => {
    expect(tapEnergyAt(7)).toBeCloseTo(1, 12);
    expect(tapEnergyAt(-2.5)).toBeCloseTo(0.756, 2);
  });
});

describe('PairPose', () => {
  it('holds any squeezed similarity', () => {
    const part = (min: number, max: number) => fc.double({ min, max, noNaN: true });
    fc.assert(
      fc.property(
        part(-300, 300),
        part(-300, 300),
        part(-179, 179),
        part(0.4, 2.5),
        part(0.9, 1.1),
        (x, y, turn, scale, squeeze) => {
          const map = poseAbout({ x: 40, y: 30 }, { shiftX: x, shiftY: y, rotationDeg: turn, scale, squeeze });
          const again = poseMap(posePartsOf(map, 'squeezed', 17, -5));
          expect(poseDistancePx(again, map, 100, 100)).toBeLessThan(1e-9);
        },
      ),
      { seed: 4 },
    );
  });
});

describe('overlapOf', () => {
  const size = { width: 100, height: 80 };

  it('is the common box of a shift', () => {
    expect(overlapOf(size, size, translation(30, -10))).toEqual({ x0: 30, y0: 0, x1: 99, y1: 69, areaPx: 70 * 70 });
    expect(overlapOf(size, size, translation(101, 0))).toBeUndefined();
  });

  it('is the area of the clipped outline under a turn', () => {
    const turned = poseAbout({ x: 49.5, y: 39.5 }, { shiftX: 0, shiftY: 0, rotationDeg: 90 });
    expect(overlapOf(size, size, turned)!.areaPx).toBeCloseTo(80 * 80, 6);
  });
});

describe('solvePair', () => {
  const scene = createSceneField({ seed: 'solve', widthPx: 200, heightPx: 200 });
  const view = (dx: number, dy: number) => renderFrame(scene, translation(40 + dx, 40 + dy), 96, 96);

  it('steps to the truth, light included, from half a pixel off', () => {
    const moving = view(0.4, -0.3);
    const dim = { ...moving, data: moving.data.map((v) => (v - 0.1) / 1.1) };
    const blocks = pairBlocks(view(0, 0), dim, IDENTITY, 1, 0, 8);
    const step = solvePair(blocks, 'shift', 47.5, 47.5, 1, true)!;
    // One step of Gauss–Newton: a tenth of the half pixel is left at most.
    expect(Math.abs(step.delta[0]! - 0.4)).toBeLessThan(0.05);
    expect(Math.abs(step.delta[1]! + 0.3)).toBeLessThan(0.05);
    const inverse = translation(-step.delta[0]!, -step.delta[1]!);
    const next = pairBlocks(view(0, 0), dim, inverse, step.gainFactor, step.offsetStep, 8);
    const last = solvePair(next, 'shift', 47.5, 47.5, 1, true)!;
    expect(step.delta[0]! + last.delta[0]!).toBeCloseTo(0.4, 2);
    expect(step.gainFactor * last.gainFactor).toBeCloseTo(1.1, 2);
    expect(last.correlation).toBeGreaterThan(0.99);
  });

  it('says nothing where there is nothing', () => {
    const flat = planeOf(64, 64, () => 0.5);
    expect(solvePair(pairBlocks(flat, flat, IDENTITY, 1, 0, 8), 'shift', 32, 32, 1, true)).toBeUndefined();
    expect(solvePair(pairBlocks(flat, flat, translation(90, 0), 1, 0, 8), 'shift', 32, 32, 1, true)).toBeUndefined();
  });
});

describe('shiftBound', () => {
  it('is that of a plane wave', () => {
    // f = sin(kx): the mean of fx² is k²/2 over whole periods; nothing is known of y, so a wave in y stands in for it.
    const k = (2 * Math.PI) / 16;
    const gradientX = planeOf(64, 64, (x) => k * Math.cos(k * x)).data;
    const gradientY = planeOf(64, 64, (_, y) => 2 * k * Math.cos(k * y)).data;
    const input = { width: 64, height: 64, gradientX, gradientY, sigmaFixed: 0.03, sigmaMoving: 0.04 };
    const { matrix, parameters } = shiftBound(input)!;
    expect(parameters).toEqual(['shiftXPx', 'shiftYPx']);
    expect(matrix[0]).toBeCloseTo(0.0025 / (4096 * 0.5 * k * k), 9);
    expect(matrix[3]).toBeCloseTo(0.0025 / (4096 * 2 * k * k), 9);
    expect(matrix[1]).toBeCloseTo(0, 12);
    expect(shiftBound({ ...input, freedom: 'squeezed' })!.matrix).toHaveLength(25);
  });

  it('does not exist for one direction only', () => {
    const gradientX = new Float32Array(64).fill(1);
    const gradientY = new Float32Array(64);
    expect(shiftBound({ width: 8, height: 8, gradientX, gradientY, sigmaFixed: 1, sigmaMoving: 1 })).toBeUndefined();
  });
});

describe('pairPyramid', () => {
  it('bins what counts, and marks what does not at every level', () => {
    const data = planeOf(32, 32, (x, y) => x + y).data;
    data[0] = Number.NaN;
    withKernels((scope) => {
      const { levels, usablePx, finest } = pairPyramid(scope, { width: 32, height: 32, data }, 3, false);
      expect(usablePx).toBe(32 * 32 - 1);
      expect(levels.map(({ width }) => width)).toEqual([32, 16, 8]);
      for (const level of levels) {
        expect(level.variance![0]).toBe(Infinity);
        expect(level.variance!.filter((v) => v === Infinity)).toHaveLength(1);
      }
      const outer = eroded(finest, 2).variance!;
      expect(outer.filter((v) => v === Infinity)).toHaveLength(9);
    });
  });
});

describe('patternShift', () => {
  const scene = createSceneField({ seed: 'pattern', widthPx: 260, heightPx: 260 });
  const truth = { shiftX: 6.4, shiftY: -0.7 };
  const random = createRandom('pattern');
  const gains = Float32Array.from({ length: 128 * 128 }, () => 1 + 0.05 * random.normal());
  const record = (dx: number, dy: number, strength: number) => {
    const plane = renderFrame(scene, compose(translation(60, 60), translation(dx, dy)), 128, 128, {
      noise: 0.001,
      seed: `${dx}`,
    });
    return { ...plane, data: plane.data.map((v, i) => v * (1 + strength * (gains[i]! - 1))) };
  };
  const start = { ...truth, gain: 1, offset: 0 };

  it('measures a shift through a pattern, to its own covariance', () => {
    const found = patternShift(record(0, 0, 1), record(6.4, -0.7, 1), start)!;
    const [xx, , , yy] = [...found.covariance] as [number, number, number, number];
    // Four standard deviations.
    expect(Math.abs(found.shiftX - truth.shiftX)).toBeLessThan(4 * Math.sqrt(xx));
    expect(Math.abs(found.shiftY - truth.shiftY)).toBeLessThan(4 * Math.sqrt(yy));
    expect(Math.sqrt(xx)).toBeLessThan(0.02);
  });

  it('leaves pictures without a pattern, and small shifts, alone', () => {
    expect(patternShift(record(0, 0, 0), record(6.4, -0.7, 0), start)).toBeUndefined();
    const near = { ...start, shiftX: 0.4, shiftY: 0.2 };
    expect(patternShift(record(0, 0, 1), record(0.4, 0.2, 1), near)).toBeUndefined();
  });
});
