import { mkdir, readdir, readFile } from 'node:fs/promises';
import { fromFile } from 'geotiff';
import { describe, expect, test } from 'vitest';
import { expectSamples } from '../../test/floats.js';
import { plateFrom } from '../../test/plate-on-disk.js';
import { useScratch } from '../../test/scratch.js';
import { readStill } from '../capture/read-still.js';
import type { LinearImage, Plane } from '../compute/image.js';
import { createRandom } from '../compute/random.js';
import { InterruptedError } from '../job/errors.js';
import { writePlateExr } from './exr.js';
import { readPlate } from './read-plate.js';
import { writePlateFloatTiff } from './tiff-float.js';

const scratch = useScratch();
/** Neither a multiple of the tile nor of a block of lines. */
const [WIDTH, HEIGHT] = [300, 277];

function sample(channels: 1 | 3): { image: LinearImage; coverage: Plane } {
  const random = createRandom(`float/${channels}`);
  const size = { width: WIDTH, height: HEIGHT };
  const data = Float32Array.from({ length: WIDTH * HEIGHT }, () =>
    Math.min(1, Math.max(0, random.uniform() * 1.6 - 0.3)),
  );
  const planes = Array.from({ length: channels }, () =>
    data.map((share) => (share > 0 ? random.uniform() * 1.3 - 0.1 : 0)),
  );
  return { image: { ...size, planes }, coverage: { ...size, data } };
}

describe.each([1, 3] as const)('%i channels', (channels) => {
  const { image, coverage } = sample(channels);
  const source = () => plateFrom(scratch('plate.f32'), image, coverage);

  test('floats go through a TIFF without a change, and another reader sees the pyramid', async () => {
    const path = scratch(`float-${channels}.tif`);
    const result = await writePlateFloatTiff(path, source());
    expect(result).toEqual({ bytes: (await readFile(path)).length, bigtiff: false, levels: 2 });
    const file = await fromFile(path);
    try {
      const page = await file.getImage(0);
      const bands = await page.readRasters();
      [0, 1, 2].forEach((c) => {
        expectSamples(bands[c] as Float32Array, image.planes[channels === 1 ? 0 : c]!);
      });
      expectSamples(bands[3] as Float32Array, coverage.data);
      const half = await file.getImage(1);
      expect([half.getWidth(), half.getHeight(), await file.getImageCount()]).toEqual([150, 139, 2]);
      expect(await half.fileDirectory.loadValue('NewSubfileType')).toBe(1);
    } finally {
      file.close();
    }
    const plate = await readPlate(path);
    expectSamples(plate.coverage.data, coverage.data);
    plate.image.planes.forEach((plane, c) => {
      expectSamples(plane, image.planes[channels === 1 ? 0 : c]!, 1e-6);
    });
  });

  test.each(['half', 'float'] as const)('%s through OpenEXR: light times coverage', async (samples) => {
    const path = scratch(`${samples}-${channels}.exr`);
    const { bytes } = await writePlateExr(path, source(), { samples });
    expect(bytes).toBe((await readFile(path)).length);
    const read = await readStill(path);
    read.image.planes.forEach((plane, c) => {
      const light = image.planes[channels === 1 ? 0 : c]!;
      // Our reader divides by the alpha: what is in the file is the product.
      expectSamples(
        plane.map((value, i) => value * coverage.data[i]!),
        light.map((value, i) => value * coverage.data[i]!),
        samples === 'half' ? 4 * 2 ** -12 : 3e-7,
      );
    });
  });

  test('the same pixels give the same bytes', async () => {
    for (const [k, write] of [writePlateExr, writePlateFloatTiff].entries()) {
      const [a, b] = [scratch(`a-${k}`), scratch(`b-${k}`)];
      await write(a, source(), { force: true });
      await write(b, source(), { force: true });
      expect((await readFile(a)).equals(await readFile(b))).toBe(true);
    }
  });
});

test('blocks that do not get smaller are stored as they are', async () => {
  const random = createRandom('noise');
  // Every half with its lowest bits at random: nothing repeats.
  const noise = Float32Array.from(
    { length: 64 * 33 },
    () => random.uniform() * 2 ** -Math.floor(20 * random.uniform()),
  );
  const size = { width: 64, height: 33 };
  const coverage = { ...size, data: new Float32Array(noise.length).fill(1) };
  const path = scratch('noise.exr');
  await writePlateExr(path, plateFrom(scratch('noise.f32'), { ...size, planes: [noise] }, coverage), {
    samples: 'float',
  });
  const { image } = await readStill(path);
  expectSamples(image.planes[1]!, noise);
});

test('an abort leaves nothing', async () => {
  const { image, coverage } = sample(1);
  await mkdir(scratch('none'));
  const source = plateFrom(scratch('plate.f32'), image, coverage);
  for (const write of [writePlateExr, writePlateFloatTiff]) {
    const aborted = write(scratch('none/plate'), source, { signal: AbortSignal.abort() });
    await expect(aborted).rejects.toThrow(InterruptedError);
  }
  expect(await readdir(scratch('none'))).toEqual([]);
});
