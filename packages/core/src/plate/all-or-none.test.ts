import { mkdir, readdir, writeFile } from 'node:fs/promises';
import { expect, test } from 'vitest';
import { useScratch } from '../../test/scratch.js';
import { allOrNone } from './all-or-none.js';
import { writeFolderWhole, writeWhole } from './atomic.js';

const scratch = useScratch();
const text = (words: string) => (path: string) => writeFile(path, words);

test('when work fails, the files and folders that it has made go, and no others', async () => {
  await mkdir(scratch('out'));
  await writeFile(scratch('out/mine'), 'mine');
  await writeFile(scratch('out/replaced'), 'old');
  const work = allOrNone(async () => {
    await writeWhole(scratch('out/one'), text('one'));
    await writeFolderWhole(scratch('out/two'), (path) => writeFile(`${path}/inside`, 'two'));
    await writeWhole(scratch('out/replaced'), text('new'), { force: true });
    await writeWhole(scratch('out/mine'), text('ours'));
  });
  await expect(work).rejects.toMatchObject({ code: 'OUTPUT_EXISTS' });
  expect((await readdir(scratch('out'))).sort()).toEqual(['mine', 'replaced']);
});

test('when it succeeds, all stays, and other work of the same time has its own', async () => {
  await mkdir(scratch('both'));
  const failing = allOrNone(async () => {
    await writeWhole(scratch('both/bad'), text('bad'));
    throw new Error('on purpose');
  });
  const done = allOrNone(() => writeWhole(scratch('both/good'), text('good')));
  await expect(failing).rejects.toThrow('on purpose');
  await done;
  expect(await readdir(scratch('both'))).toEqual(['good']);
});
