import { mkdir, mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { afterAll, expect, test } from 'vitest';
import { rehearse, scorePlate, stitch } from '../src/index.js';

const root = await mkdtemp(join(tmpdir(), 'guide-'));
afterAll(() => rm(root, { recursive: true }));

test('passes with a gap between them lie where a small turned picture of the whole disc says', async () => {
  await rehearse(
    root,
    {
      seed: 53,
      discDiameterPx: 720,
      passes: 3,
      omitPasses: [1],
      rotationsDeg: [0, 0, 2.4],
      frameWidthPx: 512,
      frameHeightPx: 288,
      framesPerPass: 6,
    },
    { force: true },
  );
  const capture = join(root, 'capture');
  await mkdir(join(capture, 'guide'));
  // The scene at 0.32 of the frames' scale, turned by 35 degrees, 8 bits.
  const scene = sharp(join(root, 'truth.png')).toColourspace('b-w').gamma(2.2);
  const { width = 0 } = await sharp(join(root, 'truth.png')).metadata();
  const { os } = JSON.parse(await readFile(join(root, 'truth.json'), 'utf8')) as { os: number };
  const small = await scene
    .resize({ width: Math.round((0.32 * width) / os) })
    .png()
    .toBuffer();
  const turned = await sharp(small).rotate(35, { background: '#000' }).removeAlpha().png().toBuffer();
  await writeFile(join(capture, 'guide', 'whole.png'), turned);
  await writeFile(join(capture, 'guide', 'x.png'), turned);

  const plate = await stitch(capture, { outDir: join(root, 'plate') });
  expect(plate.passes.map((p) => p.placedBy)).toEqual(['overlap', 'guide']);
  expect(plate.complete).toBe(false);
  expect(plate.leftOut).toContainEqual(expect.objectContaining({ item: 'guide/x.png', reason: 'second-guide' }));
  const sidecar = JSON.parse(await readFile(plate.sidecarPath, 'utf8')) as { capture: { guide: { item: string } } };
  expect(sidecar.capture.guide.item).toBe('guide/whole.png');
  // A pixel of the guide is 3 px of the frames; a third of one is what the search promises.
  const score = await scorePlate(plate.platePath, root);
  expect(score.geometryRmsPx).toBeLessThan(1);
}, 120_000);
