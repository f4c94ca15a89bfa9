import { createHash } from 'node:crypto';
import { appendFile, mkdir, rm, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { useScratch } from '../test/scratch.js';
import { packAt, verifyPack } from './verify-pack.js';

const scratch = useScratch();
const sha = (text: string): string => createHash('sha256').update(text).digest('hex');

/** A pack of a picture, a listing and their hashes. */
async function made(name: string): Promise<string> {
  const folder = scratch(name);
  await mkdir(folder);
  const files = { 'a b.jpg': 'picture', 'listing.json': '{}' };
  for (const [file, text] of Object.entries(files)) await writeFile(join(folder, file), text);
  const lines = Object.entries(files).map(([file, text]) => `${sha(text)}  ${file}\n`);
  await writeFile(join(folder, 'SHA256SUMS'), lines.join(''));
  return folder;
}

test('a pack as it was published has no difference', async () => {
  const packDir = await made('same');
  expect(await packAt(packDir)).toBe(packDir);
  expect(await verifyPack(packDir)).toEqual({ packDir, checked: 2, differences: [] });
});

test('what has changed, gone or come is named', async () => {
  const packDir = await made('other');
  await appendFile(join(packDir, 'a b.jpg'), '!');
  await rm(join(packDir, 'listing.json'));
  await mkdir(join(packDir, 'more'));
  await writeFile(join(packDir, 'b.jpg'), 'b');
  await writeFile(join(packDir, '.hidden'), '');
  // Without its listing it is known by the hashes.
  expect(await packAt(packDir)).toBe(packDir);
  expect(await verifyPack(packDir)).toEqual({
    packDir,
    checked: 2,
    differences: [
      { file: 'a b.jpg', state: 'changed', sha256: sha('picture'), foundSha256: sha('picture!') },
      { file: 'listing.json', state: 'missing', sha256: sha('{}'), foundSha256: null },
      { file: 'b.jpg', state: 'extra', sha256: null, foundSha256: null },
      { file: 'more', state: 'extra', sha256: null, foundSha256: null },
    ],
  });
});

test.each([
  ['nothing', '', 'it names no file'],
  ['a way out of the folder', `${sha('x')}  ../x\n`, 'is not a hash and the name of a file beside it'],
  ['a folder above', `${sha('x')}  ..\n`, 'is not a hash and the name of a file beside it'],
  ['no hash', `${'g'.repeat(64)}  x\n`, 'is not a hash and the name of a file beside it'],
])('hashes that hold %s are refused', async (name, text, reason) => {
  const packDir = await made(name);
  await writeFile(join(packDir, 'SHA256SUMS'), text);
  expect(await packAt(packDir)).toBe(packDir);
  await expect(verifyPack(packDir)).rejects.toMatchObject({
    code: 'PACK_UNREADABLE',
    message: expect.stringContaining(reason) as string,
  });
});

test('a folder with hashes of something else, or with none, is no pack', async () => {
  await mkdir(scratch('night'));
  expect(await packAt(scratch('night'))).toBeUndefined();
  await writeFile(scratch('night/SHA256SUMS'), `${sha('1')}  1.jpg\n`);
  expect(await packAt(scratch('night'))).toBeUndefined();
  expect(await packAt(scratch('nowhere'))).toBeUndefined();
  await expect(verifyPack(scratch('nowhere'))).rejects.toMatchObject({ code: 'PACK_UNREADABLE' });
});
