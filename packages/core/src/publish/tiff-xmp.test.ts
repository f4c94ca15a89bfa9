import { readFile, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { fromFile } from 'geotiff';
import { expect, test } from 'vitest';
import { makePlateFolder } from '../../test/plate-folder.js';
import { useScratch } from '../../test/scratch.js';
import { tiffFile } from '../../test/tiff-file.js';
import { readPlate } from '../plate/read-plate.js';
import { tiffDirectory, tiffHeader } from '../plate/tiff-layout.js';
import { copyTiffWithXmp } from './tiff-xmp.js';

const scratch = useScratch();

/** Tags of every picture of a file in its order, by another reader. */
async function tagsOf(path: string): Promise<Record<string, unknown>[]> {
  const file = await fromFile(path);
  try {
    const count = await file.getImageCount();
    const images = await Promise.all(Array.from({ length: count }, (_, i) => file.getImage(i)));
    return await Promise.all(
      images.map(async ({ fileDirectory }) => {
        const { actualizedFields, deferredFields, deferredArrays } = fileDirectory;
        const tags = [actualizedFields, deferredFields, deferredArrays].flatMap((map) => [...map.keys()]);
        const values = tags.map(async (tag) => [String(tag), await fileDirectory.loadValue(tag as never)] as const);
        return Object.fromEntries(await Promise.all(values)) as Record<string, unknown>;
      }),
    );
  } finally {
    file.close();
  }
}

test.each([false, true])('a plate gets its packet, and nothing else changes (BigTIFF: %s)', async (bigtiff) => {
  const folder = await makePlateFolder(scratch(`plate ${bigtiff}`), { bigtiff });
  const from = join(folder, 'plate.tif');
  const to = join(folder, 'with.tif');
  await copyTiffWithXmp(from, to, '<x>Möön</x>');
  const before = await readFile(from);
  const after = await readFile(to);
  const header = bigtiff ? 16 : 8;
  expect(after.subarray(header, before.length).equals(before.subarray(header))).toBe(true);
  expect(after.subarray(0, header / 2).equals(before.subarray(0, header / 2))).toBe(true);
  expect(after.includes('<x>Möön</x>')).toBe(true);
  const [first, ...halves] = await tagsOf(from);
  expect(halves.length).toBeGreaterThan(0);
  expect(await tagsOf(to)).toEqual([{ ...first, 700: expect.anything() as unknown }, ...halves]);
  expect(await readPlate(to)).toEqual(await readPlate(from));

  const again = join(folder, 'again.tif');
  await copyTiffWithXmp(to, again, '<x>another</x>');
  const [tags] = (await tagsOf(again)) as [Record<string, unknown>];
  expect(Buffer.from(tags[700] as number[]).toString()).toBe('<x>another</x>');
});

test('further pictures stay where they are', async () => {
  const one = { width: 2, height: 1, samples: Uint8Array.of(1, 2), bits: 8, perPixel: 1 };
  const first = tiffFile({ ...one, tags: [{ tag: 330, type: 'offset', values: [400] }] });
  const secondAt = first.length + (first.length & 1);
  const second = tiffDirectory(false, secondAt, [{ tag: 256, type: 'long', values: [7] }]);
  const whole = Buffer.concat([first, Buffer.alloc(secondAt - first.length), second]);
  // The pointer to the next directory follows the last entry of the first one.
  const at = whole.readUInt32LE(4);
  whole.writeUInt32LE(secondAt, at + 2 + 12 * whole.readUInt16LE(at));
  await writeFile(scratch('two.tif'), whole);
  await copyTiffWithXmp(scratch('two.tif'), scratch('two with.tif'), '<x/>      ');
  const tags = await tagsOf(scratch('two with.tif'));
  expect(tags.map((each) => each[256])).toEqual([2, 7]);
  expect(tags[0]![330]).toEqual((await tagsOf(scratch('two.tif')))[0]![330]);
  expect(tags[1]![700]).toBeUndefined();
});

test.each([
  ['of the other byte order', Buffer.from('MM\0*\0\0\0\b', 'latin1'), 'it is no little-endian TIFF'],
  ['that is no TIFF', Buffer.from('hello world'), 'it is no little-endian TIFF'],
  ['that ends too early', tiffHeader(false, 4000), 'it ends too early'],
  ['without a tag', Buffer.concat([tiffHeader(false, 8), Buffer.alloc(6)]), 'its first directory has 0 entries'],
])('a file %s is refused', async (name, bytes, reason) => {
  await writeFile(scratch(name), bytes);
  const failure = copyTiffWithXmp(scratch(name), scratch(`${name} with`), '<x/>');
  await expect(failure).rejects.toMatchObject({ code: 'PLATE_UNREADABLE' });
  await expect(failure).rejects.toThrow(reason);
});
