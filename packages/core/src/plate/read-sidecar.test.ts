import { rm } from 'node:fs/promises';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { makePlateFolder } from '../../test/plate-folder.js';
import { useScratch } from '../../test/scratch.js';
import { readSidecar } from './read-sidecar.js';

const scratch = useScratch();
const sha256 = 'a'.repeat(64);
const plate = {
  ...{ file: 'plate.tif', sha256, widthPx: 1, heightPx: 1 },
  ...{ encoding: 'sRGB', primaries: 'bt709', alpha: 'coverage' },
};

test('the folder, the plate and the sidecar itself all lead to the sidecar', async () => {
  const folder = await makePlateFolder(scratch('whole'));
  const sidecar = await readSidecar(folder);
  expect(sidecar).toMatchObject({ format: 'plenilune-plate', plate: { file: 'plate.tif', widthPx: 300 } });
  expect(await readSidecar(join(folder, 'plate.tif'))).toEqual(sidecar);
  expect(await readSidecar(join(folder, 'plate.json'))).toEqual(sidecar);
  await expect(readSidecar(join(folder, 'preview.jpg'))).rejects.toThrow('of plate.tif, not of preview.jpg');
});

test.each([
  ['another format', { format: 'other' }, 'it is not the sidecar of a plate'],
  ['a later version', { version: 9 }, 'it has version 9'],
  ['a plate elsewhere', { plate: { file: '../x.tif', sha256, widthPx: 1, heightPx: 1 } }, 'elsewhere'],
  ['a file above it', { files: [{ file: 'tiles/../../x.jpg', sha256 }] }, 'elsewhere'],
  ['no size', { plate: { file: 'plate.tif', sha256, widthPx: -1, heightPx: 1 } }, 'its sizes are odd'],
  ['colours of no kind', { plate: { ...plate, encoding: 'odd' } }, 'how its colours are to be read (odd, bt709)'],
  ['alpha of no kind', { plate: { ...plate, alpha: 'odd' } }, 'its alpha is of no kind (odd)'],
  ['no hash', { preview: { file: 'preview.jpg', sha256: 'abc', gain: 1 } }, 'preview.jpg has no hash'],
  ['no passes', { passes: null }, 'cannot be read as a sidecar'],
  ['no place', { where: {} }, 'it does not say what it shows'],
  ['no gaps', { gaps: undefined }, 'it does not say what it shows'],
])('a sidecar with %s is refused', async (name, sidecar, reason) => {
  const failure = readSidecar(await makePlateFolder(scratch(name), { sidecar }));
  await expect(failure).rejects.toMatchObject({ code: 'SIDECAR_UNREADABLE' });
  await expect(failure).rejects.toThrow(reason);
});

test.each(['nothere', 'nothere/', 'typed/nothere', 'typed/nothere.json', 'typed/plate.json/x'])(
  'what was typed and leads nowhere is named as missing: %s',
  async (name) => {
    await makePlateFolder(scratch('typed'));
    const failure = readSidecar(scratch(name));
    await expect(failure).rejects.toMatchObject({ code: 'SIDECAR_UNREADABLE' });
    await expect(failure).rejects.toThrow(`${scratch(name)} is missing. Give the folder that stitch wrote`);
  },
);

test('a folder without a sidecar, and a plate that was moved away from one', async () => {
  const folder = await makePlateFolder(scratch('moved'));
  await rm(join(folder, 'plate.tif'));
  expect(await readSidecar(join(folder, 'plate.tif'))).toMatchObject({ format: 'plenilune-plate' });
  await rm(join(folder, 'plate.json'));
  await expect(readSidecar(folder)).rejects.toThrow(/moved\/plate\.json cannot be read as a sidecar \(ENOENT/);
});
