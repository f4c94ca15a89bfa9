import { mkdir, readdir, readFile, symlink, writeFile } from 'node:fs/promises';
import { hostname } from 'node:os';
import { describe, expect, test } from 'vitest';
import { useScratch } from '../../test/scratch.js';
import { OutputError, ResourceError, UsageError } from '../job/errors.js';
import { writeFolderWhole, writeWhole } from './atomic.js';

const scratch = useScratch();

async function folder(name: string): Promise<string> {
  await mkdir(scratch(name));
  return scratch(name);
}

test('the file appears under its name and nothing else stays', async () => {
  const dir = await folder('plain');
  await writeWhole(`${dir}/out.bin`, (temporary) => writeFile(temporary, 'whole'));
  expect(await readFile(`${dir}/out.bin`, 'utf8')).toBe('whole');
  expect(await readdir(dir)).toEqual(['out.bin']);
});

test('until it is whole it has another name in the same folder', async () => {
  const dir = await folder('during');
  await writeWhole(`${dir}/out.bin`, async (temporary) => {
    await writeFile(temporary, 'part');
    const names = await readdir(dir);
    expect(names).toHaveLength(1);
    expect(names[0]).toMatch(/^\.out\.bin\..*\.partial$/);
  });
});

test('what killed runs left of the same output goes, and nothing else', async () => {
  const dir = await folder('killed');
  const host = encodeURIComponent(hostname());
  // Process numbers end at 2^22 on Linux; process 1 always lives.
  const left = [`.a.4194999,${host},0.partial`, `.a.${process.pid},${host},999999.partial`];
  const kept = [
    `.a.1,${host},0.partial`,
    '.a.4194999,elsewhere,0.partial',
    `.b.4194999,${host},0.partial`,
    '.a.partial',
  ];
  for (const name of [...left, ...kept]) await writeFile(`${dir}/${name}`, 'left behind');
  let during: string[] = [];
  await writeWhole(`${dir}/a`, async (temporary) => {
    await writeFile(temporary, 'whole', { flag: 'wx' });
    // Another one of the same name, as of two runs at a time: neither takes the other for left behind.
    await expect(writeWhole(`${dir}/a`, () => Promise.reject(new Error('stop')))).rejects.toThrow('stop');
    during = await readdir(dir);
  });
  expect(during).toHaveLength(kept.length + 1);
  expect((await readdir(dir)).sort()).toEqual(['a', ...kept].sort());
});

test('what was to be replaced stays as long as nothing stands in its place', async () => {
  const dir = await folder('old');
  const old = `${dir}/.tiles.4194999,${encodeURIComponent(hostname())},0.partial-old`;
  await mkdir(old);
  const failing = writeFolderWhole(`${dir}/tiles`, () => Promise.reject(new Error('stop')));
  await expect(failing).rejects.toThrow('stop');
  expect(await readdir(dir)).toHaveLength(1);
  await writeFolderWhole(`${dir}/tiles`, async (temporary) => writeFile(`${temporary}/0.jpg`, 'tile'));
  await writeFolderWhole(`${dir}/tiles`, async (temporary) => writeFile(`${temporary}/1.jpg`, 'tile'), { force: true });
  expect(await readdir(dir)).toEqual(['tiles']);
  expect(await readdir(`${dir}/tiles`)).toEqual(['1.jpg']);
});

describe('an existing file', () => {
  test('stays without force, and nothing is written', async () => {
    const dir = await folder('existing');
    await writeFile(`${dir}/out.bin`, 'old');
    let called = false;
    const run = writeWhole(`${dir}/out.bin`, async () => {
      called = true;
    });
    await expect(run).rejects.toMatchObject({
      code: 'OUTPUT_EXISTS',
      message: expect.stringContaining('out.bin exists'),
    });
    expect(called).toBe(false);
    expect(await readFile(`${dir}/out.bin`, 'utf8')).toBe('old');
  });

  test('that turns up while writing stays', async () => {
    const dir = await folder('race');
    const run = writeWhole(`${dir}/out.bin`, async (temporary) => {
      await writeFile(temporary, 'new');
      await writeFile(`${dir}/out.bin`, 'theirs');
    });
    await expect(run).rejects.toThrow(OutputError);
    expect(await readFile(`${dir}/out.bin`, 'utf8')).toBe('theirs');
    expect(await readdir(dir)).toEqual(['out.bin']);
  });

  test('is replaced with force', async () => {
    const dir = await folder('forced');
    await writeFile(`${dir}/out.bin`, 'old');
    await writeWhole(`${dir}/out.bin`, (temporary) => writeFile(temporary, 'new'), { force: true });
    expect(await readFile(`${dir}/out.bin`, 'utf8')).toBe('new');
    expect(await readdir(dir)).toEqual(['out.bin']);
  });

  test('that is a folder is refused even with force', async () => {
    const dir = await folder('folders');
    await mkdir(`${dir}/out`);
    await expect(writeWhole(`${dir}/out`, async () => {}, { force: true })).rejects.toThrow('is a folder');
  });

  test('stays when writing fails, with force too', async () => {
    const dir = await folder('failing');
    await writeFile(`${dir}/out.bin`, 'old');
    const run = writeWhole(
      `${dir}/out.bin`,
      async (temporary) => {
        await writeFile(temporary, 'half');
        throw new Error('stopped');
      },
      { force: true },
    );
    await expect(run).rejects.toThrow('stopped');
    expect(await readFile(`${dir}/out.bin`, 'utf8')).toBe('old');
    expect(await readdir(dir)).toEqual(['out.bin']);
  });
});

test('a missing folder is a usage error', async () => {
  await expect(writeWhole(scratch('no/such/out.bin'), async () => {})).rejects.toThrow(UsageError);
});

test('a dangling link is not written through', async () => {
  const dir = await folder('dangling');
  await symlink(`${dir}/elsewhere`, `${dir}/out.bin`);
  await expect(writeWhole(`${dir}/out.bin`, (temporary) => writeFile(temporary, 'x'))).rejects.toThrow(OutputError);
  expect(await readdir(dir)).toEqual(['out.bin']);
});

test('a full disk is a resource error', async () => {
  const dir = await folder('full');
  // The one device that is always full.
  const run = writeWhole(`${dir}/out.bin`, () => writeFile('/dev/full', 'x'));
  await expect(run).rejects.toThrow(ResourceError);
  expect(await readdir(dir)).toEqual([]);
});
