import { chmod, mkdir, symlink, utimes, writeFile } from 'node:fs/promises';
import { dirname, resolve } from 'node:path';
import { describe, expect, test } from 'vitest';
import { useScratch } from '../../test/scratch.js';
import { tiffFile } from '../../test/tiff-file.js';
import { InputError, InterruptedError } from '../job/errors.js';
import { pictures } from './picture-library.js';
import { scanCapture } from './scan.js';

const scratch = useScratch();

async function still(path: string, width = 4, height = 3, channels: 1 | 3 = 1): Promise<void> {
  await mkdir(dirname(path), { recursive: true });
  const image = pictures(Buffer.alloc(width * height * channels, 90), { raw: { width, height, channels } });
  await (channels === 1 ? image.toColourspace('b-w') : image).png().toFile(path);
}

async function file(path: string, data: string | Buffer = ''): Promise<void> {
  await mkdir(dirname(path), { recursive: true });
  await writeFile(path, data);
}

function reasons(leftOut: readonly { item: string; reason: string }[]): Record<string, string> {
  return Object.fromEntries(leftOut.map(({ item, reason }) => [item, reason]));
}

test('sub-folders are passes, in natural order, with their frames in natural order', async () => {
  const root = scratch('night');
  for (const name of ['pass10/f_10.png', 'pass10/f_9.png', 'pass2/月_2.png', 'pass2/月_11.png'])
    await still(`${root}/${name}`);
  await utimes(`${root}/pass2/月_2.png`, 1_700_000_000, 1_700_000_000);
  const capture = await scanCapture(root);
  expect(capture.root).toBe(resolve(root));
  expect(capture.name).toBe('night');
  expect(capture.leftOut).toEqual([]);
  expect(capture.passes.map(({ name, frames }) => [name, frames.map(({ item }) => item)])).toEqual([
    ['pass2', ['pass2/月_2.png', 'pass2/月_11.png']],
    ['pass10', ['pass10/f_9.png', 'pass10/f_10.png']],
  ]);
  expect(capture.passes[0]).toMatchObject({ kind: 'stills', widthPx: 4, heightPx: 3, channels: 1 });
  expect(capture.passes[0]!.frames[0]).toMatchObject({
    path: resolve(root, 'pass2/月_2.png'),
    modified: '2023-11-14T22:13:20.000Z',
  });
  expect(capture.passes[0]!.frames[0]!.sizeBytes).toBeGreaterThan(60);
});

test('a folder of stills is one pass, named after it; calibration of another size is left out', async () => {
  const root = scratch('single');
  await still(`${root}/b.png`);
  await still(`${root}/a.png`);
  await still(`${root}/Flat/f.png`, 5);
  await file(`${root}/empty/notes.txt`, 'x');
  const capture = await scanCapture(root);
  expect(capture.passes).toHaveLength(1);
  expect(capture.passes[0]!.name).toBe('single');
  expect(capture.passes[0]!.frames.map(({ item }) => item)).toEqual(['a.png', 'b.png']);
  expect(reasons(capture.leftOut)).toEqual({
    Flat: 'calibration-odd-size',
    empty: 'no-stills',
    'empty/notes.txt': 'not-an-image',
  });
});

test('finds calibration in the capture, and of the kinds that it lacks beside it', async () => {
  const root = scratch('night of two/moon');
  for (const name of ['a/f.png', 'Dark/d2.png', 'Dark/d1.png', '../dark/x.png', '../flat/f.png', '../lower/f.png'])
    await still(`${root}/${name}`);
  await file(`${root}/Dark/notes.txt`, 'x');
  await file(`${root}/../bias/broken.png`, 'x');
  const capture = await scanCapture(root);
  expect(capture.passes.map(({ name }) => name)).toEqual(['a']);
  expect(capture.calibration.map(({ kind, pass }) => [kind, pass.frames.map(({ item }) => item)])).toEqual([
    ['dark', ['Dark/d1.png', 'Dark/d2.png']],
    ['flat', ['../flat/f.png']],
  ]);
  expect(capture.calibration[1]!.pass.frames[0]!.path).toBe(resolve(root, '../flat/f.png'));
  expect(reasons(capture.leftOut)).toEqual({ 'Dark/notes.txt': 'not-an-image', '../bias/broken.png': 'unreadable' });
});

test('everything that is not a frame comes back with its reason', async () => {
  const root = scratch('mixed');
  for (let i = 0; i < 4; i++) await still(`${root}/pass/f${i}.png`, 4, 3, 3);
  await still(`${root}/pass/a-wide.png`, 5, 3, 3);
  await still(`${root}/pass/grey.png`, 4, 3, 1);
  await still(`${root}/pass/deeper/x.png`);
  await still(`${root}/pass/.hidden.png`);
  await still(`${root}/pass/._f0.png`);
  await still(`${root}/loose.png`);
  await still(`${root}/dark/d.png`);
  await file(`${root}/capture.yaml`, 'title: a night');
  await file(`${root}/poses.json`, '{}');
  await file(`${root}/pass/capture.yaml`, 'x');
  await file(`${root}/pass/empty.png`);
  await file(`${root}/pass/words.jpg`, 'not a picture at all');
  await file(`${root}/pass/sky.gif`, 'GIF89a');
  await file(`${root}/pass/sky.png`, 'GIF89a');
  const huge = tiffFile({ width: 30000, height: 30000, samples: new Uint8Array(16), bits: 8, perPixel: 1 });
  await file(`${root}/pass/huge.tif`, huge);
  await symlink(`${root}/pass/f0.png`, `${root}/pass/linked.png`);
  await symlink(`${root}/pass`, `${root}/linked-pass`);
  const { passes, leftOut } = await scanCapture(root);
  expect(passes).toHaveLength(1);
  expect(passes[0]!.frames.map(({ item }) => item)).toEqual([0, 1, 2, 3].map((i) => `pass/f${i}.png`));
  expect(reasons(leftOut)).toEqual({
    'pass/a-wide.png': 'odd-size',
    'pass/grey.png': 'odd-channels',
    'pass/deeper': 'nested-folder',
    'pass/.hidden.png': 'hidden',
    'pass/._f0.png': 'hidden',
    'loose.png': 'beside-the-passes',
    dark: 'calibration-odd-size',
    'poses.json': 'not-an-image',
    'pass/capture.yaml': 'not-an-image',
    'pass/empty.png': 'unreadable',
    'pass/words.jpg': 'unreadable',
    'pass/sky.gif': 'not-an-image',
    'pass/sky.png': 'not-an-image',
    'pass/huge.tif': 'too-large',
    'pass/linked.png': 'link',
    'linked-pass': 'link',
  });
  const details = Object.fromEntries(leftOut.map(({ item, detail }) => [item, detail]));
  expect(details['pass/a-wide.png']).toBe('It is 5 x 3, RGB; most frames of the pass are 4 x 3, RGB.');
  expect(details['pass/sky.gif']).toContain('It is GIF.');
});

test('a still under another kind’s name is found by its signature', async () => {
  const root = scratch('named');
  await still(`${root}/pass/really-png.jpeg`);
  await still(`${root}/pass/really-png.dat`);
  const { passes } = await scanCapture(root);
  expect(passes[0]!.frames).toHaveLength(2);
});

test('frames that only differ in how they are stored belong together', async () => {
  const root = scratch('turned');
  const samples = new Uint8Array(12);
  await file(`${root}/p/a.tif`, tiffFile({ width: 4, height: 3, samples, bits: 8, perPixel: 1 }));
  const tags = [{ tag: 274, type: 'short', values: [8] }] as const;
  await file(`${root}/p/b.tif`, tiffFile({ width: 3, height: 4, samples, bits: 8, perPixel: 1, tags }));
  const { passes } = await scanCapture(root);
  expect(passes[0]!.frames).toHaveLength(2);
  expect(passes[0]).toMatchObject({ widthPx: 4, heightPx: 3 });
});

describe('errors say what was found', () => {
  async function failure(path: string): Promise<InputError> {
    const error = await scanCapture(path).catch((reason: unknown) => reason);
    expect(error).toBeInstanceOf(InputError);
    return error as InputError;
  }

  test('a missing folder and a file', async () => {
    expect(await failure(scratch('nowhere'))).toMatchObject({
      code: 'CAPTURE_UNREADABLE',
      message: expect.stringContaining('does not exist'),
    });
    await file(scratch('a-file'), 'x');
    expect(await failure(scratch('a-file'))).toMatchObject({
      code: 'CAPTURE_UNREADABLE',
      message: expect.stringContaining('is a file'),
    });
  });

  test('no pass', async () => {
    await file(scratch('bare/notes.txt'), 'x');
    await still(scratch('bare/dark/d.png'));
    const error = await failure(scratch('bare'));
    expect(error.code).toBe('CAPTURE_EMPTY');
    expect(error.message).toContain('(folders with frames: 0, left out: 1)');
    expect(error.message).toContain('notes.txt was left out');
  });

  test('no pass with a usable frame', async () => {
    await file(scratch('spoilt/bad/a.png'), 'broken');
    const error = await failure(scratch('spoilt'));
    expect(error.code).toBe('PASS_UNUSABLE');
    expect(error.message).toContain('No frame of the pass bad can be used (left out: 1)');
    expect(error.message).toContain('bad/a.png');
  });
});

test('a pass without a usable frame is a loss beside one that has some', async () => {
  await still(scratch('half/good/a.png'));
  await file(scratch('half/bad/a.png'), 'broken');
  const { passes, leftOut } = await scanCapture(scratch('half'));
  expect(passes.map(({ name }) => name)).toEqual(['good']);
  expect(reasons(leftOut)).toEqual({ 'bad/a.png': 'unreadable', bad: 'no-usable-frame' });
  expect(leftOut[1]!.detail).toContain('bad/a.png');
});

test('files that may not be read are losses, not crashes', async () => {
  const root = scratch('locked');
  await still(`${root}/p/a.png`);
  await file(`${root}/p/b.png`, 'x');
  await chmod(`${root}/p/b.png`, 0);
  expect(reasons((await scanCapture(root)).leftOut)).toEqual({ 'p/b.png': 'unreadable' });
});

test('an abort is an interruption', async () => {
  await still(scratch('aborted/p/a.png'));
  await expect(scanCapture(scratch('aborted'), { signal: AbortSignal.abort() })).rejects.toThrow(InterruptedError);
});

test('a real capture', async () => {
  const { name, passes, leftOut } = await scanCapture('../shared/real/captures/open_halves/capture');
  expect(name).toBe('capture');
  expect(leftOut).toEqual([]);
  expect(passes.map((pass) => [pass.name, pass.frames.length, pass.widthPx, pass.heightPx, pass.channels])).toEqual([
    ['lower', 12, 960, 640, 3],
    ['upper', 12, 960, 640, 3],
  ]);
});
