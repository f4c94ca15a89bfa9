import { copyFile, mkdir, symlink, writeFile } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { describe, expect, it } from 'vitest';
import { useScratch } from '../../test/scratch.js';
import { pictures } from './picture-library.js';
import { scanCapture } from './scan.js';

const scratch = useScratch();
let made = 0;

interface Still {
  readonly grey?: number;
  /** As Exif has it. */
  readonly taken?: string;
}

async function still(path: string, { grey = 90, taken }: Still = {}): Promise<void> {
  await mkdir(dirname(path), { recursive: true });
  const raw = { width: 8, height: 6, channels: 3 } as const;
  const picture = pictures(Buffer.alloc(8 * 6 * 3, grey), { raw });
  const exif = taken === undefined ? {} : { exif: { IFD2: { DateTimeOriginal: taken } } };
  await picture
    .withExifMerge(exif.exif ?? {})
    .jpeg()
    .toFile(path);
}

/** A capture of stills by path, with a `capture.yaml`. */
async function captureOf(files: Readonly<Record<string, Still>>, yaml?: string): Promise<string> {
  const root = scratch(`capture ${made++}`);
  for (const [path, what] of Object.entries(files)) await still(join(root, path), what);
  if (yaml !== undefined) await writeFile(join(root, 'capture.yaml'), yaml);
  return root;
}

const names = (entries: readonly { readonly name: string }[]): string[] => entries.map(({ name }) => name);
const reasons = (entries: readonly { readonly item: string; readonly reason: string }[]): Record<string, string> =>
  Object.fromEntries(entries.map(({ item, reason }) => [item, reason]));

const THREE = { 'a/1.jpg': {}, 'b/1.jpg': {}, 'b/2.jpg': {}, 'b/3.jpg': {}, 'c/1.jpg': {} };

describe('capture.yaml', () => {
  it('puts passes in order, names them, and takes frames and passes out', async () => {
    const root = await captureOf(
      THREE,
      'passes:\n  - { folder: c, name: the upper half }\n  - { folder: b, ignoreFrames: [0, 3.jpg] }\n  - { folder: a, role: ignore }\n',
    );
    const { passes, leftOut } = await scanCapture(root);
    expect(names(passes)).toEqual(['the upper half', 'b']);
    expect(passes[1]!.frames.map(({ item }) => item)).toEqual(['b/2.jpg']);
    expect(reasons(leftOut)).toEqual({ a: 'ignored', 'b/1.jpg': 'ignored', 'b/3.jpg': 'ignored' });
  });

  it('leaves out what is not listed where only that counts, and adds it in natural order where not', async () => {
    const listed = 'passes:\n  - folder: b\n';
    expect(names((await scanCapture(await captureOf(THREE, listed))).passes)).toEqual(['b', 'a', 'c']);
    const { passes, leftOut } = await scanCapture(await captureOf(THREE, `${listed}onlyListed: true\n`));
    expect(names(passes)).toEqual(['b']);
    expect(reasons(leftOut)).toEqual({ a: 'not-listed', c: 'not-listed' });
  });

  it('makes any folder the guide, and any folder the darks', async () => {
    const root = await captureOf(THREE, 'passes:\n  - { folder: a, role: guide }\ncalibration:\n  dark: c\n');
    const { passes, guide, calibration } = await scanCapture(root);
    expect(names(passes)).toEqual(['b']);
    expect(guide!.item).toBe('a/1.jpg');
    expect(calibration.map(({ kind, pass }) => [kind, pass.frames[0]!.item])).toEqual([['dark', 'c/1.jpg']]);
  });

  it('takes no calibration where it says so', async () => {
    const files = { 'a/1.jpg': {}, 'flat/1.jpg': {} };
    expect((await scanCapture(await captureOf(files))).calibration).toHaveLength(1);
    expect((await scanCapture(await captureOf(files, 'calibration:\n  flat: false\n'))).calibration).toEqual([]);
  });

  it('says how passes are encoded: its own word first, then that for all; a curve that is asked for before both', async () => {
    const yaml =
      'encoding: { curve: bt709, range: video }\npasses:\n  - { folder: a, encoding: { table: look.cube, tableGives: srgb } }\n';
    const root = await captureOf(THREE, yaml);
    await writeFile(join(root, 'look.cube'), 'LUT_1D_SIZE 2\n0 0 0\n1 1 1\n');
    const { passes } = await scanCapture(root);
    expect(passes[0]!.encoding).toMatchObject({ range: 'video', table: { gives: 'srgb' } });
    expect(passes[1]!.encoding).toMatchObject({ curve: 'bt709', range: 'video', table: null });
    const asked = await scanCapture(root, { curve: 'linear' });
    expect(asked.passes[0]!.encoding).toMatchObject({ curve: 'linear', range: 'video', table: null });
  });

  it.each([
    ['passes:\n  - folder: bb\n', 'Did you mean "b"?'],
    ['passes:\n  - clip: a\n', 'no such clip'],
    ['passes:\n  - { folder: b, ignoreFrames: [4] }\n', 'none of its 3 frames (0 to 2'],
    ['passes:\n  - { folder: b, ignoreFrames: [2-1] }\n', '2-1'],
    ['passes:\n  - { folder: b, ignoreFrames: [1.jpeg] }\n', 'Did you mean "1.jpg"?'],
    ['calibration:\n  dark: nowhere\n', 'dark frames are in "nowhere"'],
    ['pases: []\n', 'passes'],
  ])('refuses %j', async (yaml, message) => {
    await expect(scanCapture(await captureOf(THREE, yaml))).rejects.toMatchObject({
      code: 'SETTINGS_INVALID',
      message: expect.stringContaining(message),
    });
  });

  it('refuses a table that is none', async () => {
    const root = await captureOf(THREE, 'encoding: { table: look.cube, tableGives: linear }\n');
    await writeFile(join(root, 'look.cube'), 'LUT_1D_SIZE 2\n0 0 0\n');
    await expect(scanCapture(root)).rejects.toMatchObject({ code: 'TABLE_UNREADABLE' });
  });
});

describe('layouts', () => {
  it('finds passes in folders of dates, and not in folders inside a pass unless they are named', async () => {
    const files = { '2026-03-01/lower/1.jpg': {}, '2026-03-01/lower/out/1.jpg': {}, '2026-03-02/1.jpg': {} };
    const { passes, leftOut } = await scanCapture(await captureOf(files));
    expect(names(passes)).toEqual(['2026-03-01/lower', '2026-03-02']);
    expect(reasons(leftOut)).toEqual({ '2026-03-01/lower/out': 'nested-folder' });
    const named = await captureOf(files, 'passes:\n  - folder: 2026-03-01\\lower\\out\n');
    expect(names((await scanCapture(named)).passes)).toEqual([
      '2026-03-01/lower/out',
      '2026-03-01/lower',
      '2026-03-02',
    ]);
  });

  it('passes over hidden files, resource forks and what archives add', async () => {
    const root = await captureOf({ 'a/1.jpg': {}, '__MACOSX/a/._1.jpg': {}, 'a/._1.jpg': {}, '.trash/1.jpg': {} });
    const { passes, leftOut } = await scanCapture(root);
    expect(passes[0]!.frames.map(({ item }) => item)).toEqual(['a/1.jpg']);
    expect(reasons(leftOut)).toEqual({ '.trash': 'hidden', __MACOSX: 'hidden', 'a/._1.jpg': 'hidden' });
  });

  it('takes names as they are: quotes, new lines and other scripts', async () => {
    const odd = ['it\'s "lower"/a\nb.jpg', 'نصف علوي/صورة ١.jpg', '上半分/月 1.jpg'];
    const { passes, leftOut } = await scanCapture(await captureOf(Object.fromEntries(odd.map((path) => [path, {}]))));
    expect(leftOut).toEqual([]);
    expect(passes.map(({ frames }) => frames[0]!.item).sort()).toEqual([...odd].sort());
  });

  it('follows links only when asked, and never round in circles', async () => {
    const root = await captureOf({ 'a/1.jpg': {} });
    const outside = await captureOf({ 'p/1.jpg': {}, 'p/2.jpg': {} });
    await symlink(join(outside, 'p'), join(root, 'b'));
    await symlink(root, join(root, 'c'));
    await symlink('nowhere', join(root, 'd.jpg'));
    await symlink(join(outside, 'p/1.jpg'), join(root, 'a/2.jpg'));
    const plain = await scanCapture(root);
    expect(names(plain.passes)).toEqual(['a']);
    expect(reasons(plain.leftOut)).toEqual({ b: 'link', c: 'link', 'd.jpg': 'link', 'a/2.jpg': 'link' });
    const followed = await scanCapture(root, { follow: true });
    expect(followed.passes.map(({ name, frames }) => [name, frames.length])).toEqual([
      ['a', 2],
      ['b', 2],
    ]);
    expect(reasons(followed.leftOut)).toEqual({ c: 'link', 'd.jpg': 'link' });
  });

  it('reads clips and stills side by side', async () => {
    const root = await captureOf({ 'a/1.jpg': {} });
    const clips = fileURLToPath(new URL('../../test/clips/', import.meta.url));
    for (const path of ['upper.mp4', 'a/lower.mp4']) await copyFile(join(clips, 'hevc.mp4'), join(root, path));
    const { passes } = await scanCapture(root);
    expect(passes.map(({ name, kind }) => [name, kind])).toEqual([
      ['a', 'stills'],
      ['a/lower.mp4', 'clip'],
      ['upper.mp4', 'clip'],
    ]);
  });
});

/** Frames a second apart, and 5 minutes between two rounds. */
function twoRounds(folder: string): Record<string, Still> {
  const frames = [0, 1, 2, 3, 304, 305, 306].map((s, i): [string, Still] => {
    const taken = `2026:03:01 20:${String(10 + Math.floor(s / 60)).padStart(2, '0')}:${String(s % 60).padStart(2, '0')}`;
    return [`${folder}${i + 1}.jpg`, { taken }];
  });
  return Object.fromEntries(frames);
}

describe('times', () => {
  it('part one folder of everything, and only where it is the only one', async () => {
    const { passes, notices, name } = await scanCapture(await captureOf(twoRounds(''), 'site: { timeZone: UTC }\n'));
    expect(passes.map((pass) => [pass.name, pass.frames.length])).toEqual([
      [`${name} 1`, 4],
      [`${name} 2`, 3],
    ]);
    expect(notices).toMatchObject([{ item: name, reason: 'split-by-time' }]);
    expect(notices[0]!.detail).toContain('301 s before 5.jpg');
    const two = await scanCapture(await captureOf({ ...twoRounds('a/'), 'b/1.jpg': {} }));
    expect(names(two.passes)).toEqual(['a', 'b']);
  });

  it.each([
    ['split: false\n', [7]],
    ['split: { gapS: 600 }\n', [7]],
    ['passes:\n  - folder: .\n', [7]],
    ['split: { gapS: 60 }\n', [4, 3]],
  ])('part as %j says', async (yaml, counts) => {
    const { passes } = await scanCapture(await captureOf(twoRounds(''), yaml));
    expect(passes.map(({ frames }) => frames.length)).toEqual(counts);
  });

  it('come in UTC by the zone and the offset of the clock, or from a declared start', async () => {
    const site = 'site: { timeZone: "+02:00", clockOffsetS: -30 }\n';
    const { passes } = await scanCapture(await captureOf(twoRounds('a/'), `${site}split: false\n`));
    expect(passes[0]!.frames[0]!.time).toMatchObject({ utc: '2026-03-01T18:09:30.500Z', source: 'exif' });
    const declared = await captureOf(twoRounds('a/'), 'passes:\n  - { folder: a, start: "2026-03-01T20:00:00.25Z" }\n');
    const second = (await scanCapture(declared)).passes[0]!.frames[1]!;
    expect(second.time).toMatchObject({ utc: '2026-03-01T20:00:01.250Z', source: 'declared' });
  });

  it('say where they are not known in UTC, and are silent where there are only those of files', async () => {
    expect((await scanCapture(await captureOf(twoRounds('a/'), 'split: false\n'))).notices).toMatchObject([
      { item: 'a/1.jpg', reason: 'zone-unknown' },
    ]);
    expect((await scanCapture(await captureOf(THREE))).notices).toEqual([]);
  });
});
