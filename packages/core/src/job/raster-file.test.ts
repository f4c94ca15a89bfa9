import { stat, truncate } from 'node:fs/promises';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { useScratch } from '../../test/scratch.js';
import { createRaster, type RasterFile, rasterBytes, withRaster } from './raster-file.js';

const scratch = useScratch();
const raster = (): RasterFile => ({ path: scratch('raster.f32'), width: 13, height: 9, planes: 3 });

describe('withRaster', () => {
  it('gives back what was written, for any window, and 0 around it', () => {
    fc.assert(
      fc.property(
        ...([fc.nat(12), fc.nat(8), fc.nat(12), fc.nat(8), fc.nat(2), fc.integer({ min: -9, max: 9 })] as const),
        (xa, ya, xb, yb, plane, off) => {
          const box = {
            x0: Math.min(xa, xb),
            y0: Math.min(ya, yb),
            width: Math.abs(xa - xb) + 1,
            height: Math.abs(ya - yb) + 1,
          };
          createRaster(raster());
          const data = Float32Array.from({ length: box.width * box.height }, (_, i) => i + 1);
          withRaster(raster(), 'r+', (open) => open.write(plane, box, data));
          const seen = { x0: off, y0: off, width: 17, height: 11 };
          const got = new Float32Array(17 * 11).fill(7);
          withRaster(raster(), 'r', (open) => open.read(plane, seen, got));
          got.forEach((v, i) => {
            const [u, w] = [(i % 17) + off - box.x0, Math.floor(i / 17) + off - box.y0];
            const inside = u >= 0 && w >= 0 && u < box.width && w < box.height;
            expect(v).toBe(inside ? data[w * box.width + u] : 0);
          });
        },
      ),
      { seed: 5, numRuns: 60 },
    );
  });

  it('has its full size from the start, and says when it has lost some', async () => {
    createRaster(raster());
    expect((await stat(raster().path)).size).toBe(rasterBytes(raster()));
    await truncate(raster().path, 100);
    const read = () =>
      withRaster(raster(), 'r', (o) => o.read(2, { x0: 0, y0: 0, width: 13, height: 9 }, new Float32Array(117)));
    expect(read).toThrow(/ends early/);
  });
});
