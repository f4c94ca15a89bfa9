import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, expect, test } from 'vitest';
import { rehearse, scorePlate, stitch } from '../src/index.js';

const root = await mkdtemp(join(tmpdir(), 'turned-passes-'));
afterAll(() => rm(root, { recursive: true }));

test('a camera that was taken off and put on again, head down, makes one plate all the same', async () => {
  await rehearse(
    root,
    {
      seed: 41,
      discDiameterPx: 600,
      passes: 2,
      overlap: 0.2,
      rotationsDeg: [0, 180],
      frameWidthPx: 480,
      frameHeightPx: 340,
      framesPerPass: 6,
    },
    { force: true },
  );
  const plate = await stitch(join(root, 'capture'), { outDir: join(root, 'plate') });
  expect(plate.gaps).toEqual([]);
  expect(plate.passes.map((p) => p.placedBy)).toEqual(['overlap', 'overlap']);
  expect(plate.overlaps).toHaveLength(1);
  const score = await scorePlate(plate.platePath, root);
  expect(score.covered).toBeGreaterThan(0.999);
  // The mean of the air's warps over six frames is about 0.4 px; a wrong turn by a tenth of a degree would add 0.5 px.
  expect(score.geometryRmsPx).toBeLessThan(0.6);
}, 120_000);
