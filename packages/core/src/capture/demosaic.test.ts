import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { type BayerPattern, bayerPatternOf, demosaic } from './demosaic.js';

const PATTERNS: readonly BayerPattern[] = ['RGGB', 'BGGR', 'GRBG', 'GBRG'];

type Scene = (x: number, y: number) => readonly number[];

function mosaicOf(width: number, height: number, pattern: BayerPattern, scene: Scene) {
  const channel = (x: number, y: number): number => 'RGB'.indexOf(pattern[(y & 1) * 2 + (x & 1)]!);
  const data = Float32Array.from({ length: width * height }, (_, i) => {
    const [x, y] = [i % width, Math.floor(i / width)];
    return scene(x, y)[channel(x, y)]!;
  });
  return { mosaic: { width, height, data }, channel };
}

function worstOff(pattern: BayerPattern, width: number, height: number, scene: Scene, margin: number): number {
  const planes = demosaic(mosaicOf(width, height, pattern, scene).mosaic, pattern);
  let worst = 0;
  for (let y = margin; y < height - margin; y++) {
    for (let x = margin; x < width - margin; x++) {
      planes.forEach((plane, c) => {
        worst = Math.max(worst, Math.abs(plane[y * width + x]! - scene(x, y)[c]!));
      });
    }
  }
  return worst;
}

describe.each(PATTERNS)('demosaicing %s', (pattern) => {
  it('gives one colour back everywhere, whatever it is', () => {
    expect(worstOff(pattern, 9, 6, () => [0.3, 0.5, 0.2], 0)).toBeLessThan(1e-6);
  });

  it('gives a grey ramp back, inside the border', () => {
    const ramp: Scene = (x, y) => new Array<number>(3).fill(0.1 + 0.02 * x + 0.01 * y);
    expect(worstOff(pattern, 16, 14, ramp, 3)).toBeLessThan(1e-6);
  });

  it('keeps a straight edge as sharp as it is', () => {
    const upright: Scene = (x) => new Array<number>(3).fill(x < 9 ? 0.1 : 0.8);
    const level: Scene = (_x, y) => new Array<number>(3).fill(y < 7 ? 0.1 : 0.8);
    // A method that averages all four neighbours is out by a quarter of the step or more here.
    expect(worstOff(pattern, 20, 16, upright, 3)).toBeLessThan(0.1);
    expect(worstOff(pattern, 20, 16, level, 3)).toBeLessThan(0.1);
  });

  it('keeps every recorded sample', () => {
    fc.assert(
      fc.property(fc.integer({ min: 2, max: 9 }), fc.integer({ min: 2, max: 9 }), fc.nat(), (width, height, seed) => {
        const random: Scene = (x, y) => [0, 1, 2].map((c) => ((x * 73 + y * 151 + c * 37 + seed) % 211) / 211);
        const { mosaic, channel } = mosaicOf(width, height, pattern, random);
        const planes = demosaic(mosaic, pattern);
        mosaic.data.forEach((value, i) => {
          expect(planes[channel(i % width, Math.floor(i / width))]![i]).toBe(value);
        });
      }),
      { seed: 5, numRuns: 60 },
    );
  });
});

it('a pattern seen from the next pixel is the next pattern', () => {
  expect(PATTERNS.map((pattern) => bayerPatternOf(pattern, 1, 0))).toEqual(['GRBG', 'GBRG', 'RGGB', 'BGGR']);
  expect(PATTERNS.map((pattern) => bayerPatternOf(pattern, 0, 1))).toEqual(['GBRG', 'GRBG', 'BGGR', 'RGGB']);
  expect(bayerPatternOf('RGBG')).toBeUndefined();
});
