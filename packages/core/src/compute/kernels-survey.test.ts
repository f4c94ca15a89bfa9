import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { expectSamples } from '../../test/floats.js';
import { binPlane } from './downsample.js';
import { type LinearImage, luminance, rowsOf } from './image.js';
import { blockMoments, surveyWithKernels } from './kernels-survey.js';
import { createRandom } from './random.js';

const SETTINGS = { binFactor: 1, blockPx: 8, clipping: 0.9, margin: 0.05, steepness: 0.2, mostSpikes: 1e6 };

function pictureOf(width: number, height: number, channels: number, seed: number): LinearImage {
  const random = createRandom(seed);
  const planes = Array.from({ length: channels }, () => Float32Array.from({ length: width * height }, random.uniform));
  return { width, height, planes };
}

/** Pixels that leave all eight neighbours behind, by plain comparison. */
function plainSpikes({ width, height, planes }: LinearImage): number[] {
  const found = new Set<number>();
  for (const plane of planes) {
    for (let y = 1; y < height - 1; y++) {
      for (let x = 1; x < width - 1; x++) {
        const around = [-1, 0, 1].flatMap((dy) => [-1, 0, 1].map((dx) => plane[(y + dy) * width + x + dx]!));
        const [v] = around.splice(4, 1);
        const [most, least] = [Math.max(...around), Math.min(...around)];
        const { margin, steepness } = SETTINGS;
        const isBright = v! - most > margin && v! - most > steepness * (v! - least);
        const isDark = least - v! > margin && least - v! > steepness * (most - v!);
        if (isBright || isDark) found.add(y * width + x);
      }
    }
  }
  return [...found].sort((a, b) => a - b);
}

const size = fc.integer({ min: 3, max: 70 });

describe('surveyWithKernels', () => {
  test('bins, adds up and lists as plain loops do', () => {
    let listed = 0;
    fc.assert(
      fc.property(
        size,
        size,
        fc.constantFrom(1, 3),
        fc.integer({ min: 1, max: 4 }),
        fc.integer(),
        (w, h, n, f, seed) => {
          const image = pictureOf(w, h, n, seed);
          const survey = surveyWithKernels(rowsOf(image), { ...SETTINGS, binFactor: f });
          const light = binPlane(luminance(image), f);
          expect([survey.light.width, survey.light.height]).toEqual([light.width, light.height]);
          expectSamples(survey.light.data, light.data, 1e-6);
          const columns = Math.floor(light.width / 8);
          image.planes.forEach((plane, c) => {
            const side = 8 * f;
            for (const [k, mean] of survey.means[c]!.entries()) {
              const [x0, y0] = [(k % columns) * side, Math.floor(k / columns) * side];
              const block = Array.from({ length: side }, (_, j) => [
                ...plane.subarray((y0 + j) * w + x0, (y0 + j) * w + x0 + side),
              ]).flat();
              expect(mean).toBeCloseTo(block.reduce((a, b) => a + b, 0) / side ** 2, 6);
              expect(survey.clipped[c]![k]).toBeCloseTo(
                block.filter((v) => v >= Math.fround(0.9)).length / side ** 2,
                6,
              );
            }
          });
          expect([...survey.spikes]).toEqual(plainSpikes(image));
          listed += survey.spikes.length;
        },
      ),
      { seed: 9, numRuns: 60 },
    );
    expect(listed).toBeGreaterThan(100);
  });

  test('lists nothing when more stands out than asked for', () => {
    const image = pictureOf(60, 50, 1, 4);
    const count = plainSpikes(image).length;
    expect(count).toBeGreaterThan(3);
    expect(surveyWithKernels(rowsOf(image), { ...SETTINGS, mostSpikes: count }).spikes).toHaveLength(count);
    expect(surveyWithKernels(rowsOf(image), { ...SETTINGS, mostSpikes: count - 1 }).spikes).toHaveLength(0);
  });
});

test('blockMoments gives means of a plane and of its squares', () => {
  const data = Float32Array.from({ length: 21 * 17 }, (_, i) => (i % 21) / 16);
  const { means, squares } = blockMoments({ width: 21, height: 17, data }, 8);
  expect([...means]).toEqual([3.5, 11.5, 3.5, 11.5].map((v) => v / 16));
  expect(squares[0]).toBeCloseTo(17.5 / 256, 7);
});
