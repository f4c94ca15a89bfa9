import { fromFile } from 'geotiff';
import { expect, test } from 'vitest';
import { expectSamples } from '../../test/floats.js';
import { useScratch } from '../../test/scratch.js';
import { createRandom } from '../compute/random.js';
import { writeFloatTiff } from './float-tiff.js';

const scratch = useScratch();

test('another reader finds every float to the bit', async () => {
  const random = createRandom(8);
  const data = Float32Array.from({ length: 37 * 23 }, () => 3 * random.normal());
  await writeFloatTiff(scratch('map.tif'), { width: 37, height: 23, data }, { force: false });
  const file = await fromFile(scratch('map.tif'));
  const image = await file.getImage(0);
  expect([image.getWidth(), image.getHeight(), image.getSamplesPerPixel()]).toEqual([37, 23, 1]);
  expectSamples((await image.readRasters({ interleave: true })) as unknown as Float32Array, data);
  file.close();
  await expect(
    writeFloatTiff(scratch('map.tif'), { width: 37, height: 23, data }, { force: false }),
  ).rejects.toMatchObject({
    code: 'OUTPUT_EXISTS',
  });
});
