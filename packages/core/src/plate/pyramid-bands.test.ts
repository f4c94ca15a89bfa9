import fc from 'fast-check';
import { expect, test } from 'vitest';
import { expectSamples } from '../../test/floats.js';
import type { PlateSource } from './plate-source.js';
import { type LevelBand, levelsOf, pyramidBands } from './pyramid-bands.js';

interface Level {
  readonly width: number;
  readonly height: number;
  readonly light: Float32Array;
  readonly coverage: Float32Array;
}

function inMemory({ width, height, light, coverage }: Level): PlateSource {
  return {
    width,
    height,
    channels: 1,
    read: (box) => {
      const part = (from: Float32Array): Float32Array =>
        Float32Array.from({ length: box.width * box.height }, (_, i) => {
          return from[(box.y0 + Math.floor(i / box.width)) * width + box.x0 + (i % box.width)]!;
        });
      const size = { width: box.width, height: box.height };
      return { image: { ...size, planes: [part(light)] }, coverage: { ...size, data: part(coverage) } };
    },
  };
}

/** The level above, worked out pixel by pixel. */
function half({ width, height, light, coverage }: Level): Level {
  const size = { width: Math.ceil(width / 2), height: Math.ceil(height / 2) };
  const above = { ...size, light: new Float32Array(size.width * size.height) };
  const shares = new Float32Array(size.width * size.height);
  for (let y = 0; y < size.height; y++) {
    for (let x = 0; x < size.width; x++) {
      let [sum, weight, count] = [0, 0, 0];
      for (const [u, v] of [0, 1, 2, 3].map((k) => [2 * x + (k & 1), 2 * y + (k >> 1)] as const)) {
        if (u >= width || v >= height) continue;
        count++;
        weight += coverage[v * width + u]!;
        sum += coverage[v * width + u]! * light[v * width + u]!;
      }
      shares[y * size.width + x] = weight / count;
      above.light[y * size.width + x] = weight > 0 ? sum / weight : 0;
    }
  }
  return { ...above, coverage: shares };
}

function collect(bands: Iterable<LevelBand>, count: number): number[][][] {
  const levels: number[][][] = Array.from({ length: count }, () => [[], []]);
  for (const { level, y0, image, coverage } of bands) {
    // Each level's bands come in order, without a gap.
    expect(levels[level]![0]!.length).toBe(y0 * image.width);
    levels[level]![0]!.push(...image.planes[0]!);
    levels[level]![1]!.push(...coverage.data);
  }
  return levels;
}

test('every level is the mean of what lies under it, for any size and any bands', () => {
  const cases = fc.record({
    width: fc.integer({ min: 1, max: 37 }),
    height: fc.integer({ min: 1, max: 41 }),
    rows: fc.constantFrom(2, 4, 6, 16, 64),
    values: fc.array(fc.integer({ min: 0, max: 8 }), { minLength: 64, maxLength: 64 }),
  });
  fc.assert(
    fc.property(cases, ({ width, height, rows, values }) => {
      const at = (i: number, step: number): number => values[(i * step + (i >> 6)) % 64]! / 8;
      const coverage = Float32Array.from({ length: width * height }, (_, i) => Math.min(1, 1.5 * at(i, 3)));
      const light = coverage.map((share, i) => (share > 0 ? at(i, 7) : 0));
      const sizes = levelsOf({ width, height }, 1);
      const levels = collect(pyramidBands(inMemory({ width, height, light, coverage }), sizes, rows), sizes.length);
      let expected: Level = { width, height, light, coverage };
      levels.forEach(([colours, shares], k) => {
        if (k > 0) expected = half(expected);
        expect([expected.width, expected.height]).toEqual([sizes[k]!.width, sizes[k]!.height]);
        expectSamples(colours!, expected.light, 1e-6);
        expectSamples(shares!, expected.coverage, 1e-6);
      });
      expect([sizes.at(-1)!.width, sizes.at(-1)!.height]).toEqual([1, 1]);
    }),
    { seed: 12, numRuns: 150 },
  );
});
